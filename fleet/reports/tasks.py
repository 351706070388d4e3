"""The morning's mail, the seals of the trail, and the verification of the record."""

from django.core.mail import get_connection

from fleet.audit.actors import job_actor
from fleet.audit.sealing import seal_trail as seal_now
from fleet.jobs.handlers import Run, handler
from fleet.people.queries import active_people
from fleet.reports import actions


@handler("morning_digest", words="Send the morning e-mails")
def morning_digest(run: Run) -> dict[str, int]:
    """Send one e-mail to each person who wants it and has something to read; run again, nobody gets it twice.

    The mail server is reached before the first row is claimed: while it is away the job fails and is tried again.
    """
    wanting = active_people().filter(wants_digest=True).exclude(email="").prefetch_related("groups").order_by("pk")
    total, sent = wanting.count(), 0
    connection = get_connection()
    connection.open()
    try:
        for done, person in enumerate(wanting.iterator(chunk_size=200), start=1):
            sent += actions.send_digest(person, run.day, connection=connection)
            run.progress(done, total)
    finally:
        connection.close()
    return {"people": total, "sent": sent}


@handler("seal_trail", words="Seal the trail")
def seal_trail(_run: Run) -> dict[str, int]:
    """Seal what is not sealed yet; run again, it finds nothing to do."""
    return seal_now()


@handler("verify_record", words="Verify the record")
def verify_record(run: Run) -> dict[str, int]:
    """Hold the record against its seals, signatures and ledgers; what was found stands in the trail and on its page."""
    found = actions.verify(by=job_actor("verify_record"), progress=run.progress)
    return {"entries": found.trail.entries, "signatures": found.signatures, "flaws": len(found.flaws)}
