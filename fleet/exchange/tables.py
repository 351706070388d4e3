"""Files sent in as a table."""

from datetime import datetime

import django_tables2 as tables
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString

from fleet.exchange.models import Intake
from fleet.web import clock, marks, phrases

_NUMBER = {"cell": {"class": "number"}}
_SHAPES = {
    Intake.State.CHECKING: "coming",
    Intake.State.REFUSED: "fail",
    Intake.State.READY: "due",
    Intake.State.COMMITTING: "coming",
    Intake.State.COMMITTED: "pass",
    Intake.State.FAILED: "fail",
}


def state_mark(intake: Intake) -> SafeString:
    """How a file stands, as a shape and words."""
    if intake.state == Intake.State.REFUSED and not intake.rows:
        return marks.mark("fail", "Can't be read")
    return marks.mark(_SHAPES[Intake.State(intake.state)], intake.get_state_display())


class IntakeTable(tables.Table):
    """One row a file, the latest first."""

    file_name = tables.Column("File", linkify=lambda record: reverse("exchange:intake", args=[record.pk]))
    kind = tables.Column("Holds")
    state = tables.Column("How it stands", orderable=False)
    rows = tables.Column("Rows", attrs=_NUMBER)
    refused_rows = tables.Column("Refused", attrs=_NUMBER)
    sent_by = tables.Column("Sent by", orderable=False, default="a command on the server")
    sent_at = tables.Column("Sent", order_by="pk")

    class Meta:
        empty_text = "No file has been sent yet."

    def render_state(self, record: Intake) -> SafeString:
        """A shape and words."""
        return state_mark(record)

    def render_sent_at(self, value: datetime) -> str:
        """How long ago."""
        return phrases.moment_ago(timezone.localtime(value), timezone.localtime(clock.now()))
