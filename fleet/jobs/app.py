"""The Celery app. The broker only wakes workers: the job table is the truth, so no result or schedule is kept here."""

import os

from celery import Celery

from fleet.jobs import files, pace

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")

files.register()
app = Celery("benchward", loader="fleet.jobs.loader.HouseLoader")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.conf.update(
    include=["fleet.jobs.tasks"],
    task_default_queue="benchward",
    # A worker takes one message at a time and keeps it until the job is over.
    task_acks_late=True,
    worker_prefetch_multiplier=1,
    # What a job gives back is in its row.
    result_backend=None,
    task_ignore_result=True,
    task_serializer="json",
    accept_content=["json"],
    event_serializer="json",
    worker_enable_remote_control=False,
    worker_send_task_events=False,
    broker_connection_retry_on_startup=True,
    # settings.LOGGING stands.
    worker_hijack_root_logger=False,
    worker_redirect_stdouts=False,
    # The timetable is kept in memory. Both entries may come early, late, twice or not at all without harm, and a file
    # would only be one more thing that two timetables on one machine fight over and a power cut spoils.
    beat_scheduler="celery.beat:Scheduler",
    beat_schedule={
        "tick": {
            "task": "fleet.jobs.tick",
            "schedule": pace.TICK,
            "options": {"expires": pace.TICK.total_seconds()},
        },
        "sweep": {
            "task": "fleet.jobs.sweep",
            "schedule": pace.SWEEP,
            "options": {"expires": pace.SWEEP.total_seconds()},
        },
    },
)
