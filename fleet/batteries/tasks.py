"""The night's work on batteries."""

from fleet.audit.actors import job_actor
from fleet.batteries import actions
from fleet.jobs.handlers import Run, handler
from fleet.web import clock


@handler("refresh_forecasts", words="Forecast what each battery will still carry")
def refresh_forecasts(run: Run) -> dict[str, int]:
    """Take packs out of retired drivers on record, then forecast every fitted pack anew."""
    removed = actions.remove_from_retired(by=job_actor(run.kind))
    counts = actions.refresh_forecasts(at=clock.now(), progress=run.progress)
    return {"taken out of retired drivers": removed, **counts}


@handler("backtest", words="Hold past battery forecasts against what came of them")
def backtest(run: Run) -> dict[str, int]:
    """Backtest every type of pack and all together."""
    rows = actions.run_backtests(at=clock.now(), progress=run.progress)
    return {"packs scored": rows[-1].packs, "types": len(rows) - 1}
