"""The night's work on dues."""

from fleet.jobs.handlers import Run, handler
from fleet.schedules import actions


@handler("roll_dues", words="Reckon dues and mark what is late")
def roll_dues(run: Run) -> dict[str, int]:
    """Reckon the dues that count running hours, then mark every due whose window has ended."""
    return {
        **actions.count_running_hours(run.day, progress=run.progress),
        **actions.mark_late(run.day, progress=run.progress),
    }


@handler(actions.levelling.JOB, words="Level the work of the coming weeks")
def level_dues(run: Run) -> dict[str, int]:
    """Reckon a large proposal. Begun again it finds the result there, or makes it from the dues as they then stand."""
    return actions.reckon(run.payload["levelling"])
