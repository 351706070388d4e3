"""The two jobs on a file. Each may begin again after a killed worker: a check writes no record, a commit all."""

from collections.abc import Callable

from fleet.exchange import actions
from fleet.jobs import pace
from fleet.jobs.handlers import Run, handler


@handler(actions.CHECK_JOB, words="Check a file that was sent in")
def check_intake(run: Run) -> dict[str, int]:
    """Find out what a commit of the file would do."""
    return _told(run, actions.check)


@handler(actions.COMMIT_JOB, words="Commit a file that was checked")
def commit_intake(run: Run) -> dict[str, int]:
    """Write every row of the file, or none."""
    return _told(run, actions.commit)


def _told(run: Run, act: Callable[..., dict[str, int]]) -> dict[str, int]:
    intake_id = run.payload["intake"]
    try:
        return act(intake_id, progress=run.progress)
    except Exception as error:
        # Until the last attempt the job is tried again; then whoever sent the file must be told.
        if run.attempt >= pace.ATTEMPTS:
            actions.stop(intake_id, f"It stopped by an error: {error}. Nothing was written.")
        raise
