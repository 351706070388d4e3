"""Workers that a test may start; none outlives its test."""

import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import redis
from django.conf import settings

from tests.jobs import errands
from tests.jobs.workers import Worker

__all__ = ["errands"]
StartWorker = Callable[..., Worker]


@pytest.fixture
def start_worker(child_environment: dict[str, str], own_folder: Path) -> Iterator[StartWorker]:
    """Give a function that starts a worker on this test's database and broker."""
    prefix = settings.CELERY_BROKER_TRANSPORT_OPTIONS.get("global_keyprefix", "")
    environment = {**child_environment, "TEST_KEY_PREFIX": prefix}
    started: list[Worker] = []

    def start(*options: str, **variables: str) -> Worker:
        worker = Worker(own_folder, f"worker{len(started)}", {**environment, **variables}, *options)
        started.append(worker)
        return worker

    yield start
    for worker in started:
        worker.signal(signal.SIGKILL)
    if prefix:
        _forget(prefix)


def _forget(prefix: str) -> None:
    """Leave nothing of this test in Redis."""
    with redis.Redis.from_url(settings.CELERY_BROKER_URL) as broker:
        for key in broker.scan_iter(f"{prefix}*"):
            broker.delete(key)
