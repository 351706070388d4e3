"""The night's work on dues."""

from fleet.jobs.handlers import Run, handler
from fleet.schedules import actions, queries


@handler("roll_dues", words="Reckon dues and mark what is late")
def roll_dues(run: Run) -> dict[str, int]:
    """Keep what counters read, reckon the dues that count them, then mark every due whose window has ended."""
    return {
        **actions.keep_all_readings(progress=run.progress),
        **actions.count_running_hours(run.day, progress=run.progress),
        **actions.mark_late(run.day, progress=run.progress),
    }


@handler(actions.levelling.JOB, words="Level the work of the coming weeks")
def level_dues(run: Run) -> dict[str, int]:
    """Reckon a large proposal. Begun again it finds the result there, or makes it from the dues as they then stand."""
    return actions.reckon(run.payload["levelling"])


@handler(queries.BRING_JOB, words="Bring a changed plan to its drivers")
def bring_plan(run: Run) -> dict[str, int]:
    """Open, move or end the dues of a plan that was added or changed."""
    asked = run.payload
    return actions.bring_by_job(asked["plan"], name=asked["by"], person_id=asked["person"], progress=run.progress)
