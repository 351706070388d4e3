"""The night's work on libraries."""

from fleet.jobs.handlers import Run, handler
from fleet.libraries import actions


@handler("library_coverage", words="Keep the day's library coverage")
def library_coverage(run: Run) -> dict[str, int]:
    """Keep how many drivers of each place stand where with their library."""
    return actions.snapshot(run.day)
