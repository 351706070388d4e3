"""What the broker can ask of a worker. Each may come late, twice, or for a job that is long done."""

from celery import shared_task

from fleet.jobs import actions, work


@shared_task(name="fleet.jobs.run")
def run(job_id: int) -> None:
    """Do one job, if it is still to be done."""
    work.run_job(job_id)


@shared_task(name="fleet.jobs.tick")
def tick() -> None:
    """Raise the nightly jobs whose hour has come, and those of this hour."""
    actions.tick()
    actions.tick_hourly()


@shared_task(name="fleet.jobs.sweep")
def sweep() -> None:
    """Free the jobs of workers that have gone, and send what was lost."""
    actions.sweep()
