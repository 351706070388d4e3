"""Kinds of jobs that only tests have. Imported by the tests and by their workers (`tests.jobs.worker_app`)."""

import time
from pathlib import Path

from fleet.core.errors import BadValueError
from fleet.jobs.handlers import Run, handler


@handler("test_errand", words="Run an errand")
def errand(run: Run) -> dict[str, int]:
    """Do numbered pieces in a folder, each once whatever happens; at piece `wait_at`, wait until somebody says go."""
    folder, pieces = Path(run.payload["folder"]), run.payload["pieces"]
    for piece in range(pieces):
        if piece == run.payload.get("wait_at"):
            _wait_for_go(run, folder, piece, pieces)
        if not (folder / f"piece-{piece}").exists():
            (folder / f"piece-{piece}").touch(exist_ok=False)
            with (folder / "done.log").open("a") as log:
                log.write(f"{piece}\n")
        run.progress(piece + 1, pieces)
    return {"pieces": pieces}


def _wait_for_go(run: Run, folder: Path, done: int, total: int) -> None:
    (folder / f"waiting-{run.attempt}").touch()
    while not (folder / "go").exists():
        run.progress(done, total)
        time.sleep(0.05)


@handler("test_quick", words="Count the spoons")
def quick(run: Run) -> dict[str, int]:
    """Count what the payload says."""
    run.progress(1, 2)
    run.progress(2, 2)
    return {"spoons": run.payload.get("spoons", 3), "of_silver": 1}


@handler("test_failing", words="Fall over")
def failing(run: Run) -> dict[str, int]:
    """Go wrong as code goes wrong."""
    raise ZeroDivisionError(f"attempt {run.attempt} divided by nothing")


@handler("test_refused", words="Be refused")
def refused(run: Run) -> dict[str, int]:
    """Refuse on purpose, as an action does."""
    raise BadValueError("The file has no column “asset”; give it one.", field="asset")
