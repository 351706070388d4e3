"""The night's work on safety notices, and the orders of a large one."""

from fleet.jobs.handlers import Run, handler
from fleet.notices import actions


@handler("match_notices", words="Match drivers with safety notices")
def match_notices(run: Run) -> dict[str, int]:
    """Find drivers that came, or changed, since the notices were opened, and raise the orders they ask for."""
    return actions.match_all(run.progress)


@handler(actions.ORDERS_JOB, words="Raise the orders of a safety notice")
def raise_orders(run: Run) -> dict[str, int]:
    """Raise the orders of a notice that was opened for many drivers."""
    asked = run.payload
    return actions.raise_by_job(asked["notice"], name=asked["by"], person_id=asked["person"])
