"""The night's work on alerts."""

from fleet.alerts import actions
from fleet.jobs.handlers import Run, handler
from fleet.web import clock


@handler("age_alerts", words="Count how long alerts have been open")
def age_alerts(_run: Run) -> dict[str, int]:
    """Store how many days each open alert has been open."""
    return actions.age(clock.now())
