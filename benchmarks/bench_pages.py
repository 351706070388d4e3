"""How fast the hot pages answer on a large fleet, beside a bare view of the same server in the same run.

    python benchmarks/bench_pages.py [drivers]

Builds the demonstration hospital in a temporary folder, serves it as `manage.py up` does (gunicorn, two workers of four
threads), and asks for each page from sixteen clients at once. The yardstick is /healthz, which asks the database for
one row and answers two letters. DATABASE_URL names another database: an empty one is built, a built one is measured.
"""

import http.client
import logging
import os
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))
FOLDER = tempfile.TemporaryDirectory(prefix="benchward-bench-")
os.environ |= {
    "DJANGO_SETTINGS_MODULE": "fleet.settings",
    "BENCHWARD_VAR": FOLDER.name,
    "BENCHWARD_DEMO": "1",
    "BENCHWARD_SECRET_KEY": "only-for-a-benchmark-" * 3,
}

import django  # noqa: E402 - the settings read the environment

django.setup()

from django.conf import settings  # noqa: E402 - models need django.setup()
from django.core.management import call_command  # noqa: E402 - same
from django.db import connection  # noqa: E402 - same
from django.test import Client  # noqa: E402 - same
from django.test.utils import CaptureQueriesContext  # noqa: E402 - same

from fleet.batteries.models import Forecast  # noqa: E402 - same
from fleet.people.models import Person  # noqa: E402 - same
from fleet.registry.models import Device  # noqa: E402 - same

logging.disable(logging.WARNING)

CLIENTS, WARM_UP, REQUESTS = 16, 32, 320
OK = 200


@dataclass(frozen=True)
class Measured:
    """One page: milliseconds of each request, queries, and size."""

    name: str
    times: "np.ndarray"
    queries: int
    kilobytes: float

    def line(self, yardstick: float) -> str:
        """Its row of the table."""
        middle, high = np.percentile(self.times, [50, 95])
        return (
            f"{self.name:16} {middle:8.1f} {high:8.1f} {middle / yardstick:8.1f} {self.queries:8} {self.kilobytes:8.0f}"
        )


def pages() -> dict[str, tuple[str, str]]:
    """Name of a page -> who opens it, and its address."""
    device = Forecast.objects.filter(tests_used__gte=2).order_by("pk").values_list("device__asset_number", flat=True)[0]
    return {
        "bare view": ("manager", "/healthz"),
        "bench queue": ("technician", "/bench/"),
        "ward list": ("ward", "/tags/ours/"),
        "device page": ("manager", f"/devices/{device}/"),
        "device list": ("manager", "/registry/"),
        "overdue": ("manager", "/schedules/overdue/"),
        "will not last": ("manager", "/batteries/"),
        "overview": ("manager", "/reports/"),
    }


@contextmanager
def server() -> Iterator[int]:
    """Serve the product on a free port, and stop it in the end."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    web = ["gunicorn", "fleet.wsgi", f"--bind=127.0.0.1:{port}", "--workers=2", "--threads=4", "--log-level=warning"]
    process = subprocess.Popen([sys.executable, "-m", *web], cwd=ROOT)
    try:
        _wait_for(port)
        yield port
    finally:
        process.terminate()
        process.wait()


def _wait_for(port: int) -> None:
    for _ in range(200):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise TimeoutError(f"nothing answers on port {port}")


def signed_in(username: str) -> Client:
    """A browser of somebody of the demonstration."""
    client = Client(SERVER_NAME="127.0.0.1")
    client.force_login(Person.objects.get(username=username), "django.contrib.auth.backends.ModelBackend")
    return client


def measure(name: str, username: str, address: str, port: int) -> Measured:
    """Ask for one page from all clients at once."""
    client = signed_in(username)
    client.get(address)
    with CaptureQueriesContext(connection) as asked:
        body = client.get(address).content
    cookie = f"{settings.SESSION_COOKIE_NAME}={client.cookies[settings.SESSION_COOKIE_NAME].value}"
    _ask(port, address, cookie, WARM_UP)
    return Measured(name, _ask(port, address, cookie, REQUESTS), len(asked), len(body) / 1024)


def _ask(port: int, address: str, cookie: str, requests: int) -> "np.ndarray":
    times: list[float] = []

    def ask_in_turn() -> None:
        asking = http.client.HTTPConnection("127.0.0.1", port)
        for _ in range(requests // CLIENTS):
            start = time.perf_counter()
            asking.request("GET", address, headers={"Cookie": cookie})
            answer = asking.getresponse()
            answer.read()
            times.append((time.perf_counter() - start) * 1000)
            assert answer.status == OK, f"{address} answered {answer.status}"

    clients = [threading.Thread(target=ask_in_turn) for _ in range(CLIENTS)]
    for each in clients:
        each.start()
    for each in clients:
        each.join()
    assert len(times) == requests // CLIENTS * CLIENTS, f"{address}: some requests failed"
    return np.array(times)


def main(devices: int) -> None:
    """Build, serve, measure, print."""
    call_command("migrate", verbosity=0)
    call_command("collectstatic", interactive=False, verbosity=0)
    if not Device.objects.exists():
        _build(devices)
    print(f"{Device.objects.count()} drivers on {connection.vendor}")
    with server() as port:
        found = [measure(name, who, address, port) for name, (who, address) in pages().items()]
    yardstick = float(np.median(found[0].times))
    print(f"{'page':16} {'p50 ms':>8} {'p95 ms':>8} {'x bare':>8} {'queries':>8} {'KB':>8}")
    print("\n".join(each.line(yardstick) for each in found))


def _build(devices: int) -> None:
    start = time.perf_counter()
    call_command("demo", devices=devices, stdout=StringIO())
    print(f"built in {time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
