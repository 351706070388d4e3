"""The product's Celery app as the tests' workers run it: it moves quickly and knows the errands."""

import os
from datetime import timedelta

import tests.jobs.errands
from fleet.jobs import pace
from fleet.jobs.app import app

__all__ = ["app", "tests"]

pace.LEASE = timedelta(seconds=5)
pace.HEARTBEAT = timedelta(seconds=0.25)
pace.RESEND = timedelta(seconds=1)
app.conf.beat_schedule["sweep"]["schedule"] = 0.5
# No nightly job, whatever the hour of the test.
del app.conf.beat_schedule["tick"]
if os.environ.get("TEST_KEY_PREFIX"):
    app.conf.broker_transport_options["global_keyprefix"] = os.environ["TEST_KEY_PREFIX"]
