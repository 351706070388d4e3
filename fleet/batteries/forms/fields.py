"""Fields that are quick to type with one hand: clock times, runtimes, numbers with a comma."""

import re
from datetime import date, datetime, time, timedelta
from typing import Any

from django import forms
from django.utils.timezone import get_current_timezone, make_aware

from fleet.batteries.models import RuntimeTest
from fleet.web.forms import NumberField, day_field

_DAY = timedelta(days=1)
_CLOCK = re.compile(r"(\d{1,2})[:.h]?(\d\d)")
_RUNTIME = re.compile(r"(\d{1,3}):([0-5]\d)")
KEEP_LABEL = "It is right: keep it"
_QUICK = {"autocomplete": "off", "inputmode": "text", "size": "7"}


class ClockField(forms.Field):
    """A time of day on 24 hours, typed as 8:05, 08:05, 8.05 or 0805."""

    default_error_messages = {"invalid": "“%(value)s” is no time of day. Type it on 24 hours, for example 13:36."}
    widget = forms.TextInput(attrs={**_QUICK, "class": "clock"})

    def to_python(self, value: Any) -> time | None:
        """Read the time; None when nothing was typed."""
        text = str(value or "").strip()
        if not text:
            return None
        found = _CLOCK.fullmatch(text)
        if not found or int(found[1]) > 23 or int(found[2]) > 59:  # noqa: PLR2004 - the last hour, the last minute
            raise forms.ValidationError(self.error_messages["invalid"], params={"value": text}, code="invalid")
        return time(int(found[1]), int(found[2]))

    def prepare_value(self, value: Any) -> Any:
        """Show a time as it is typed."""
        return f"{value:%H:%M}" if isinstance(value, time) else value


class RuntimeField(forms.Field):
    """A runtime in hours and minutes, typed as 5:36."""

    default_error_messages = {"invalid": "“%(value)s” is no runtime. Type hours and minutes, for example 5:36."}
    widget = forms.TextInput(attrs={**_QUICK, "class": "clock"})

    def to_python(self, value: Any) -> timedelta | None:
        """Read the runtime; None when nothing was typed."""
        text = str(value or "").strip()
        if not text:
            return None
        found = _RUNTIME.fullmatch(text)
        if not found:
            raise forms.ValidationError(self.error_messages["invalid"], params={"value": text}, code="invalid")
        return timedelta(hours=int(found[1]), minutes=int(found[2]))


def _skipped(field: NumberField) -> NumberField:
    """Let Enter pass over a cell that holds a value or may be empty; Tab still stops there."""
    field.widget.attrs["data-skip"] = ""
    return field


def charge_field(*, required: bool = True, hint: str = "") -> NumberField:
    """Hours on charge before the test."""
    field = NumberField(label="Hours on charge", max_digits=5, decimal_places=2, required=required, help_text=hint)
    return _skipped(field)


def rate_field(*, required: bool = True, hint: str = "") -> NumberField:
    """The delivery rate of the test, mL/h."""
    return _skipped(NumberField(label="Rate", max_digits=7, decimal_places=2, required=required, help_text=hint))


def syringe_field() -> NumberField:
    """The syringe's size, mL."""
    return _skipped(NumberField(label="Syringe", max_digits=4, decimal_places=1))


def ambient_field() -> NumberField:
    """The room's temperature, °C."""
    return _skipped(NumberField(label="Room temperature", max_digits=4, decimal_places=1, required=False))


def run_day(label: str, *, required: bool = True, hint: str = "") -> forms.DateField:
    """A day of the test, which Enter passes over."""
    field = day_field(label, required=required, hint=hint)
    field.widget.attrs["data-skip"] = ""
    return field


#: Why a test stopped, in the words of the one who saw it; and the same in few.
STOPS = [
    (RuntimeTest.Stop.RAN_FLAT.value, "It ran until the driver stopped by itself"),
    (RuntimeTest.Stop.BY_HAND.value, "I stopped it early by hand"),
]
SHORT_STOPS = [(RuntimeTest.Stop.RAN_FLAT.value, "By itself"), (RuntimeTest.Stop.BY_HAND.value, "Early, by hand")]


def local(day: date, at: time) -> datetime:
    """The instant of a local day and time."""
    return make_aware(datetime.combine(day, at), get_current_timezone())


def next_after(start: datetime, at: time) -> datetime:
    """The first instant after `start` at which the clock shows a time."""
    day = start.astimezone(get_current_timezone()).date()
    same_day = local(day, at)
    return same_day if same_day > start else local(day + _DAY, at)


def last_before(stop: datetime, at: time) -> datetime:
    """The last instant up to `stop` at which the clock shows a time: a low-battery alarm comes near the end."""
    day = stop.astimezone(get_current_timezone()).date()
    same_day = local(day, at)
    return same_day if same_day <= stop else local(day - _DAY, at)
