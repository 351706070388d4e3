"""Sending the morning e-mail, and verifying the record.

At most once: the row that says "sent" is committed before the mail leaves. A worker killed in between, or two workers
at once, can leave a person without the mail of one day but never send it twice. A mail that gets lost costs a look at
the pages, which say the same; one that comes twice teaches people to stop reading it.
"""

import logging
from datetime import date
from smtplib import SMTPRecipientsRefused, SMTPResponseException

from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend
from django.db import IntegrityError, transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.models import Seal
from fleet.audit.queries import Progress, head
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.reports.digest import Digest, digest_of, subject, text
from fleet.reports.models import DigestSent
from fleet.reports.queries import VERIFIED, Verified, verified
from fleet.web import clock

#: Flaws that the trail tells one by one; the command tells all.
MOST_TOLD = 50
_log = logging.getLogger(__name__)


def send_digest(person: Person, day: date, *, connection: BaseEmailBackend | None = None) -> bool:
    """Send a person's mail for a day unless it was sent or there is nothing to say; whether one left.

    `connection`: an open one when many are sent. A mail that the server refuses is logged and not tried again; a server
    that is lost raises OSError, so that the mails after this one wait for it.
    """
    digest = digest_of(person, day)
    if not person.email or not digest.lines or not _claimed(digest):
        return False
    mail = EmailMessage(subject(digest), text(digest), to=[person.email], connection=connection)
    try:
        return bool(mail.send())
    except (SMTPRecipientsRefused, SMTPResponseException):
        _log.exception("the morning e-mail of %s for %s did not leave", person.username, day)
        return False


def _claimed(digest: Digest) -> bool:
    """Write down that this mail leaves; False when somebody else did."""
    try:
        with transaction.atomic():
            DigestSent.objects.create(person=digest.person, day=digest.day, sent_at=clock.now(), lines=digest.lines)
    except IntegrityError:
        return False
    return True


def verify(*, by: Actor, progress: Progress = lambda _done, _total: None) -> Verified:
    """Verify the whole record, and tell the trail what was found and which seal was the last."""
    by.must(May.SEE_TRAIL)
    found = verified(progress)
    after = {
        "head": found.trail.head,
        "seals": found.trail.seals,
        "entries": found.trail.entries,
        "signatures": found.signatures,
        "holds_to": found.trail.holds_to,
        "flaws": [f"{flaw.where}: {flaw.what}" for flaw in found.flaws[:MOST_TOLD]],
        "flaws_in_all": len(found.flaws),
        "notes": [f"{note.where}: {note.what}" for note in found.notes[:MOST_TOLD]],
    }
    record(Happening(VERIFIED, head() or Seal(number=0), after=after), by=by)
    return found
