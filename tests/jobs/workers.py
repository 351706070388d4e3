"""Real Celery workers, each with a timetable of its own, as processes that can be killed."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

from django.conf import settings

# Generous: it is only ever waited out by a test that fails.
DEADLINE_S = 120


class Worker:
    """A worker and its children in a process group of their own, its words in a file."""

    def __init__(self, folder: Path, name: str, environment: Mapping[str, str], *options: str) -> None:
        self.log = folder / f"{name}.log"
        command = [sys.executable, "-m", "celery", "--app=tests.jobs.worker_app", "--quiet", "worker", "--beat"]
        with self.log.open("wb") as words:
            self.process = subprocess.Popen(
                [*command, f"--hostname={name}@test", "--without-gossip", *options],
                cwd=settings.BASE_DIR,
                env=dict(environment),
                stdout=words,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )

    def signal(self, number: signal.Signals) -> None:
        """Send a signal to the worker and all its children, if they are still there, and wait for its end."""
        with suppress(ProcessLookupError):
            os.killpg(self.process.pid, number)
        self.process.wait(DEADLINE_S)

    def is_gone(self) -> bool:
        """Whether no process of the worker's group is left; one that only waits to be buried does not count."""
        try:
            os.killpg(self.process.pid, 0)
        except ProcessLookupError:
            return True
        members = [facts for facts in _processes() if facts[2] == str(self.process.pid)]
        return bool(members) and all(state == "Z" for state, _parent, _group in members)

    def words(self) -> str:
        return self.log.read_text(errors="replace")


def _processes() -> list[list[str]]:
    """State, parent and group of every process, where the system tells (Linux)."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            found.append(path.read_text().rpartition(")")[2].split()[:3])
    return found


def wait_until(condition: Callable[[], bool], what: str, *workers: Worker) -> None:
    """Wait for something that must come to pass; say what the workers said if it doesn't."""
    end = time.monotonic() + DEADLINE_S
    while not condition():
        said = "\n".join(f"--- {worker.log.name}\n{worker.words()[-3000:]}" for worker in workers)
        assert time.monotonic() < end, f"{what} did not come to pass\n{said}"
        time.sleep(0.05)
