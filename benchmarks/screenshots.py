"""Make the pictures of README.md: `make screenshots`. Needs Chromium; BENCHWARD_CHROMIUM names one off the path.

Builds the demonstration hospital in a temporary folder, holds the clock of the server at the end of its history, and
opens the pages as their people would. The same code draws the same pictures.
"""

import logging
import os
import shutil
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from socketserver import ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server
from wsgiref.types import StartResponse, WSGIApplication

ROOT = Path(__file__).resolve().parent.parent
FOLDER = tempfile.TemporaryDirectory(prefix="benchward-pictures-")
sys.path.insert(0, str(ROOT))
os.environ |= {
    "DJANGO_SETTINGS_MODULE": "fleet.settings",
    "DATABASE_URL": "",
    "BENCHWARD_BROKER_URL": "",
    "BENCHWARD_VAR": FOLDER.name,
    "BENCHWARD_DEMO": "1",
    "BENCHWARD_SECRET_KEY": "only-for-pictures-" * 3,
}
# Playwright keeps an event loop in this thread, which Django would take for asynchronous code.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

import django  # noqa: E402 - the settings read the environment

django.setup()

from django.core.management import call_command  # noqa: E402 - models need django.setup()
from django.core.wsgi import get_wsgi_application  # noqa: E402 - same
from playwright.sync_api import Browser, Page, sync_playwright  # noqa: E402 - same

from fleet.audit.actors import Actor  # noqa: E402 - same
from fleet.batteries.models import Forecast  # noqa: E402 - same
from fleet.bench import actions as bench  # noqa: E402 - same
from fleet.bench.models import Order, Step  # noqa: E402 - same
from fleet.core.lifecycle import Condition  # noqa: E402 - same
from fleet.management.demo.people import PASSWORD  # noqa: E402 - same
from fleet.people.models import Person  # noqa: E402 - same
from fleet.people.queries import actor_for  # noqa: E402 - same
from fleet.registry.models import Device, Place  # noqa: E402 - same
from fleet.registry.queries import label_token  # noqa: E402 - same
from fleet.web import clock  # noqa: E402 - same

PICTURES = ROOT / "docs" / "screenshots"
DEVICES, SEED = 240, 1
MOMENT = datetime(2026, 11, 19, 10, 5, tzinfo=UTC)
# A picture needs no log of its requests; errors are still told.
logging.disable(logging.WARNING)
PHONE, DESK, LONG = (390, 844), (1280, 1000), (1280, 1400)
LARGEST_KB = 300


class _Server(ThreadingMixIn, WSGIServer):
    daemon_threads = True


class _Silent(WSGIRequestHandler):
    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the name it has there
        """Say nothing of each request."""


def _held(application: WSGIApplication) -> WSGIApplication:
    """The application as if it were always the moment at which the history ends."""

    def answer(environ: dict[str, Any], start: StartResponse) -> list[bytes]:
        with clock.at(MOMENT):
            return [b"".join(application(environ, start))]

    return answer


@contextmanager
def served() -> Iterator[str]:
    """Serve the hospital and give its address."""
    application = _held(get_wsgi_application())
    with make_server("127.0.0.1", 0, application, _Server, _Silent) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


class Camera:
    """Opens pages as somebody, and takes pictures of them."""

    def __init__(self, browser: Browser, address: str) -> None:
        """Work on the pages at an address."""
        self.browser, self.address = browser, address

    def page(self, username: str = "", size: tuple[int, int] = DESK) -> Page:
        """A window in which somebody, or nobody, is signed in."""
        width, height = size
        context = self.browser.new_context(
            base_url=self.address, viewport={"width": width, "height": height}, color_scheme="light"
        )
        page = context.new_page()
        if username:
            page.goto("/sign-in/")
            page.locator("[name=username]").fill(username)
            page.locator("[name=password]").fill(PASSWORD)
            page.keyboard.press("Enter")
            page.wait_for_url(lambda url: "sign-in" not in url)
        return page

    def take(self, page: Page, name: str, address: str = "") -> None:
        """Keep what the window shows."""
        if address:
            page.goto(address)
        page.wait_for_load_state("networkidle")
        page.evaluate("document.activeElement.blur()")
        path = PICTURES / f"{name}.png"
        page.screenshot(path=path, animations="disabled")
        size = path.stat().st_size / 1024
        print(f"{path.relative_to(ROOT)}  {size:.0f} KB")
        assert size <= LARGEST_KB, f"{path.name} is larger than {LARGEST_KB} KB"


def of_the_ward(camera: Camera) -> Device:
    """A report by the label's link, without an account; its slip; the ward's list. Gives the driver that was tagged."""
    in_ward_4 = Device.objects.filter(home__code="mg-w4", condition=Condition.IN_SERVICE, quarantined=False)
    device = in_ward_4.order_by("pk")[0]
    phone = camera.page(size=PHONE)
    camera.take(phone, "ward-report", f"/r/{label_token(device)}/")
    for name, value in (("harm", "no"), ("what", "power"), ("connected", "no")):
        phone.locator(f"[name={name}][value={value}]").check()
    for name, words in (("where", "Ward 4, bed 3"), ("reporter", "Nora Teasdale"), ("reach", "bleep 4411")):
        phone.locator(f"[name={name}]").fill(words)
    phone.get_by_role("button", name="Tag this driver").click()
    phone.get_by_role("link", name="Slip to print or copy").click()
    camera.take(phone, "slip")
    camera.take(camera.page("ward", PHONE), "our-drivers", "/tags/ours/")
    return device


def of_the_bench(camera: Camera, tagged: Device) -> None:
    """The queue, an order in work, and a driver whose battery has a history."""
    technician = Person.objects.get(username="technician")
    page = camera.page("technician")
    camera.take(page, "bench-queue", "/bench/")
    with clock.at(MOMENT):
        order = begun(tagged, actor_for(technician))
    camera.take(page, "order", f"/bench/orders/{order}/")
    page = camera.page("technician", LONG)
    camera.take(page, "device", f"/devices/{a_tested_driver(technician)}/")


def begun(device: Device, by: Actor) -> Order:
    """The driver received, and its order worked up to the first reading."""
    bench_of_site = Place.objects.get(kind="bench", site=device.home.site)
    order = bench.receive(device, bench=bench_of_site, by=by, decontamination="cleaned")
    for step in Step.objects.filter(version=order.procedure_version).order_by("position"):
        if step.kind == Step.Kind.READING:
            break
        order.refresh_from_db()
        chosen = step.passing[0] if step.kind == Step.Kind.CHOICE else ""
        note = "Software 3.3.6; log read." if step.kind == Step.Kind.TEXT or "in the note" in step.caution else ""
        given = bench.Answer(passed=True, note=note, chosen=chosen)
        bench.answer(order, step, given, revision=order.revision, by=by)
    return order


def a_tested_driver(person: Person) -> Device:
    """The one in service whose own tests tell most of its battery."""
    told = Forecast.objects.filter(device__condition=Condition.IN_SERVICE, chance_before_visit__gte=0.1)
    told = told.filter(device__in=Device.objects.within(person))
    return told.order_by("-tests_used", "pk").select_related("device")[0].device


def of_the_manager(camera: Camera) -> None:
    """What is late, which batteries will not last, and the state of the fleet."""
    page = camera.page("manager")
    camera.take(page, "overdue", "/schedules/overdue/")
    camera.take(page, "will-not-last", "/batteries/")
    camera.take(page, "overview", "/reports/")


def main() -> None:
    """Build, serve, take."""
    chromium = os.environ.get("BENCHWARD_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    if not chromium:
        sys.exit("No Chromium on this machine: install it, or name it in BENCHWARD_CHROMIUM.")
    PICTURES.mkdir(parents=True, exist_ok=True)
    call_command("migrate", verbosity=0)
    call_command("collectstatic", interactive=False, verbosity=0)
    with clock.at(MOMENT):
        call_command("demo", devices=DEVICES, seed=SEED)
    with served() as address, sync_playwright() as playwright:
        camera = Camera(playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"]), address)
        of_the_bench(camera, of_the_ward(camera))
        of_the_manager(camera)
        camera.browser.close()


if __name__ == "__main__":
    main()
