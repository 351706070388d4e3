"""How a worker or a timetable of ours starts, and that a timetable ends with its worker."""

import logging
import os
import signal
import time
from threading import Thread
from typing import Any

from celery import signals
from celery.loaders.app import AppLoader
from django.core.exceptions import ImproperlyConfigured

from fleet.jobs import handlers
from fleet.web import checks

# One line when a job begins and one when it ends (see `fleet.jobs.work`) instead of two for each message.
CHATTY = ("celery.worker.strategy", "celery.app.trace", "celery.beat")


class HouseLoader(AppLoader):
    """Starts only with sound settings and with every room's handlers."""

    def on_worker_init(self) -> None:
        """Check, load, and quieten; an error here stops the start, a wrong setting without a traceback."""
        try:
            checks.require_sound_settings()
        except ImproperlyConfigured as error:
            raise SystemExit(str(error)) from error
        handlers.load()
        for name in CHATTY:
            logging.getLogger(name).setLevel(logging.WARNING)


@signals.beat_embedded_init.connect
def end_with_the_worker(**_facts: Any) -> None:
    """Let the timetable's process (`worker --beat`) end when its worker was killed; it would go on for ever."""
    Thread(target=_end_without, args=(os.getppid(),), daemon=True).start()


def _end_without(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(1)
    os.kill(os.getpid(), signal.SIGTERM)
