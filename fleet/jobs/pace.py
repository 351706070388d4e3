"""How fast the job table moves. Read as `pace.LEASE`, never copied, so that a test's worker can be quicker."""

from datetime import timedelta
from typing import Final

#: A claim holds this long without a sign of life. A handler's longest transaction must be shorter: on SQLite nobody
#: else, the heartbeat included, writes meanwhile.
LEASE = timedelta(seconds=60)
#: How often a running job extends its lease and writes its progress.
HEARTBEAT = timedelta(seconds=2)
#: A waiting job that no worker has begun in this time is handed to the broker again.
RESEND = timedelta(seconds=60)
#: How often the timetable sweeps the table, and how often it looks for nightly jobs that have come due.
SWEEP = timedelta(seconds=15)
TICK = timedelta(seconds=60)
#: A job that has failed or vanished this often is failed for good.
ATTEMPTS = 5
#: Waiting time after the first failure; each later one is four times as long: 30 s, 2 min, 8 min, 32 min.
FIRST_WAIT = timedelta(seconds=30)
WAIT_GROWTH: Final = 4
#: The most rows one sweep hands out again; the next sweep goes on.
SWEEP_ROWS = 500


def wait_after(attempts: int) -> timedelta:
    """How long a job rests after its `attempts`-th failure (1 is the first)."""
    return FIRST_WAIT * float(WAIT_GROWTH ** (attempts - 1))
