"""How a worker or a timetable of ours starts."""

import logging

from celery.loaders.app import AppLoader

from fleet.jobs import handlers
from fleet.web import checks

# One line when a job begins and one when it ends (see `fleet.jobs.work`) instead of two for each message.
CHATTY = ("celery.worker.strategy", "celery.app.trace", "celery.beat")


class HouseLoader(AppLoader):
    """Starts only with sound settings and with every room's handlers."""

    def on_worker_init(self) -> None:
        """Check, load, and quieten; an error here stops the start."""
        checks.require_sound_settings()
        handlers.load()
        for name in CHATTY:
            logging.getLogger(name).setLevel(logging.WARNING)
