"""Start a few processes of our own together, watch them, and stop them together."""

import http.client
import os
import signal
import socket
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from threading import Event
from types import FrameType
from typing import Any

WATCH_EVERY = 0.2  # seconds
TIME_TO_FINISH = 15.0  # seconds a process gets to end its work before it is stopped hard
STOP_SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class EndedError(Exception):
    """A process that should have gone on has ended; the message holds the end of its log."""


@dataclass(frozen=True, slots=True)
class Program:
    """What to start: its name for people, the command line, and the file its output goes to."""

    name: str
    command: Sequence[str]
    log: Path


@dataclass(slots=True)
class Household:
    """Running processes, each leading a process group of its own, so that no grandchild is left behind."""

    running: list[tuple[Program, subprocess.Popen[bytes]]]

    def check(self) -> None:
        """Raise EndedError if any process has ended."""
        for program, process in self.running:
            if process.poll() is not None:
                raise EndedError(
                    f"The {program.name} has ended by itself (exit {process.returncode}). The end of {program.log}:\n"
                    f"{_tail(program.log)}"
                )

    def stop(self) -> None:
        """Ask every process to end its work, wait, and end what is left of its group."""
        for _, process in self.running:
            with suppress(ProcessLookupError):
                process.terminate()
        latest = time.monotonic() + TIME_TO_FINISH
        for _, process in self.running:
            with suppress(subprocess.TimeoutExpired):
                process.wait(max(0.0, latest - time.monotonic()))
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()


@contextmanager
def household(programs: Sequence[Program], environment: dict[str, str]) -> Iterator[Household]:
    """Start the programs in order; on leaving, however that happens, none of them is running."""
    home = Household([])
    try:
        for program in programs:
            home.running.append((program, _start(program, environment)))
        yield home
    finally:
        home.stop()


def _start(program: Program, environment: dict[str, str]) -> subprocess.Popen[bytes]:
    program.log.parent.mkdir(parents=True, exist_ok=True)
    with program.log.open("ab") as log:
        return subprocess.Popen(  # noqa: S603 - our own command lines
            program.command,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )


def _tail(log: Path, lines: int = 12) -> str:
    return "\n".join(log.read_text(encoding="utf-8", errors="replace").splitlines()[-lines:])


@contextmanager
def stop_asked() -> Iterator[Event]:
    """Give an event that Ctrl-C, SIGTERM or a closed terminal sets instead of interrupting."""
    asked = Event()

    def ask(_number: int, _frame: FrameType | None) -> None:
        asked.set()

    before: dict[signal.Signals, Any] = {number: signal.signal(number, ask) for number in STOP_SIGNALS}
    try:
        yield asked
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def noted_as_running(path: Path) -> Iterator[None]:
    """Keep this process's number in `path` while it runs, so that `make reset` leaves its data alone."""
    path.write_text(f"{os.getpid()}\n", encoding="ascii")
    try:
        yield
    finally:
        path.unlink(missing_ok=True)


def wait_until_answering(home: Household, port: int, path: str, asked: Event, patience: float = 60.0) -> None:
    """Wait until `path` on this machine answers 200; EndedError if a process ends or `patience` seconds pass."""
    latest = time.monotonic() + patience
    while not asked.wait(WATCH_EVERY):
        home.check()
        if _answers(port, path):
            return
        if time.monotonic() > latest:
            raise EndedError(f"Nothing answered on port {port} within {patience:.0f} seconds.")


def watch(home: Household, asked: Event) -> None:
    """Return when a stop is asked for; EndedError if a process ends before."""
    while not asked.wait(WATCH_EVERY):
        home.check()


def _answers(port: int, path: str) -> bool:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", path)
        return connection.getresponse().status == http.HTTPStatus.OK
    except OSError:
        return False
    finally:
        connection.close()


def port_is_free(port: int) -> bool:
    """Whether a server could listen on this port of this machine now."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return False
    return True
