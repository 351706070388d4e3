"""Processes started together end together, and leave nothing behind."""

import http.client
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from django.conf import settings

from fleet.web import processes
from tests.web.starting import only_these

PATIENCE = 90.0
SLEEPER = "import time; print('up', flush=True); time.sleep(600)"
PARENT = f"import subprocess, sys, time; subprocess.Popen([sys.executable, '-c', {SLEEPER!r}]); time.sleep(600)"
STUBBORN = (
    "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('up', flush=True); time.sleep(600)"
)


def program(folder: Path, name: str, code: str) -> processes.Program:
    return processes.Program(name, [sys.executable, "-c", code], folder / f"{name}.log")


def wait_for(condition: Callable[[], bool]) -> None:
    latest = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < latest, "waited in vain"
        time.sleep(0.05)


def group_is_gone(leader: int) -> bool:
    try:
        os.killpg(leader, 0)
    except ProcessLookupError:
        return True
    return False


def says_up(log: Path) -> bool:
    return log.exists() and "up" in log.read_text()


def test_all_end_together_grandchildren_too(tmp_path: Path) -> None:
    """After the block no process of any group is left, not even one that a process had started itself."""
    programs = [program(tmp_path, "parent", PARENT), program(tmp_path, "sleeper", SLEEPER)]
    with processes.household(programs, dict(os.environ)) as home:
        wait_for(lambda: all(says_up(started.log) for started in programs))
        leaders = [process.pid for _, process in home.running]
        home.check()
    wait_for(lambda: all(map(group_is_gone, leaders)))


def test_one_that_will_not_end_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A process that ignores the request to stop is stopped hard after its time."""
    monkeypatch.setattr(processes, "TIME_TO_FINISH", 0.1)
    stubborn = program(tmp_path, "stubborn", STUBBORN)
    with processes.household([stubborn], dict(os.environ)) as home:
        wait_for(lambda: says_up(stubborn.log))
        process = home.running[0][1]
    assert process.returncode == -signal.SIGKILL


def test_one_that_ends_is_told_with_the_end_of_its_log(tmp_path: Path) -> None:
    """When one process ends by itself, the message names it and shows what it said last."""
    failing = program(tmp_path, "job worker", "raise SystemExit('the broker is gone')")
    with processes.household([failing], dict(os.environ)) as home:
        home.running[0][1].wait()
        with pytest.raises(
            processes.EndedError, match=r"(?s)job worker has ended by itself \(exit 1\).*the broker is gone"
        ):
            home.check()


@contextmanager
def taken_port() -> Iterator[int]:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        yield taken.getsockname()[1]


def free_port() -> int:
    with taken_port() as port:
        return port


def test_a_taken_port_is_seen() -> None:
    """A port somebody listens on is not free."""
    with taken_port() as port:
        assert not processes.port_is_free(port)
    assert processes.port_is_free(port)


def start_up(folder: Path, port: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "manage.py", "up"],
        cwd=settings.BASE_DIR,
        env=only_these(folder, BENCHWARD_PORT=str(port), PYTHONUNBUFFERED="1"),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def answers(port: int) -> bool:
    with suppress(OSError):
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
        connection.request("GET", "/healthz")
        answer = connection.getresponse().read()
        connection.close()
        return answer == b"ok\n"
    return False


def wait_until_serving(running: subprocess.Popen[str], port: int) -> None:
    wait_for(lambda: answers(port) or running.poll() is not None)
    assert running.poll() is None, running.stdout and running.stdout.read()


def children_of(pid: int) -> list[int]:
    return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


@pytest.mark.slow
@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM])
def test_up_serves_and_stops_cleanly(own_folder: Path, stop: signal.Signals) -> None:
    """`manage.py up` answers on its port, prints one address, and on Ctrl-C or SIGTERM ends with no process left."""
    port = free_port()
    with start_up(own_folder, port) as running:
        try:
            wait_until_serving(running, port)
            leaders = children_of(running.pid)
            assert len(leaders) == 2
        finally:
            running.send_signal(stop)
        said, _ = running.communicate(timeout=PATIENCE)
    assert running.returncode == 0, said
    assert said.count("http://") <= 1
    assert "Stopped." in said
    wait_for(lambda: all(map(group_is_gone, leaders)))
    assert processes.port_is_free(port)


@pytest.mark.slow
def test_up_ends_when_its_worker_dies(own_folder: Path) -> None:
    """When the job worker is killed, `manage.py up` stops the web server too and says why."""
    port = free_port()
    with start_up(own_folder, port) as running:
        wait_until_serving(running, port)
        leaders = children_of(running.pid)
        worker = next(pid for pid in leaders if b"celery" in Path(f"/proc/{pid}/cmdline").read_bytes())
        os.kill(worker, signal.SIGKILL)
        said, _ = running.communicate(timeout=PATIENCE)
    assert running.returncode == 1
    assert "job worker has ended by itself" in said
    wait_for(lambda: all(map(group_is_gone, leaders)))


def test_up_says_when_its_port_is_taken(tmp_path: Path) -> None:
    """On a taken port nothing is started, and the message names a way out."""
    with taken_port() as port, start_up(tmp_path, port) as running:
        said, _ = running.communicate(timeout=PATIENCE)
    assert running.returncode == 1
    assert f"Port {port} is taken" in said
    assert "BENCHWARD_PORT=" in said
    assert not (tmp_path / "benchward.sqlite3").exists() or (tmp_path / "benchward.sqlite3").stat().st_size == 0
