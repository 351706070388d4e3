"""Jobs in words, for pages and for the terminal."""

from datetime import date

from django.utils.text import Truncator

from fleet.jobs.models import Job
from fleet.web import phrases

#: Characters of an error that a table shows; the job's own page shows the rest.
SHORT = 90
_MINUTE, _HOUR = 60, 3600


def counts(job: Job) -> str:
    """What a job counted: `12 rolled, 3 late`."""
    return ", ".join(f"{number} {name.replace('_', ' ')}" for name, number in job.counts.items())


def took(job: Job) -> str:
    """How long a job took from its last start to its end: `under 1 s`, `12 s`, `3 min 5 s`; empty before its end."""
    if job.started_at is None or job.finished_at is None:
        return ""
    seconds = int((job.finished_at - job.started_at).total_seconds())
    if seconds < 1:
        return "under 1 s"
    if seconds < _MINUTE:
        return f"{seconds} s"
    if seconds < _HOUR:
        return f"{seconds // _MINUTE} min {seconds % _MINUTE} s"
    return f"{seconds // _HOUR} h {seconds % _HOUR // _MINUTE} min"


def purpose(key: str) -> str:
    """What a key tells beside the kind of job: `14 Mar 2027` of `roll_dues:2027-03-14`."""
    rest = key.partition(":")[2] or key
    try:
        return phrases.day(date.fromisoformat(rest))
    except ValueError:
        return rest


def short_error(job: Job) -> str:
    """What went wrong, as much as a row of a table holds."""
    return Truncator(error(job)[0]).chars(SHORT)


def error(job: Job) -> tuple[str, str]:
    """What went wrong in words, and the technical detail below it; both may be empty."""
    words, _, detail = job.error.partition("\n\n")
    return words, detail
