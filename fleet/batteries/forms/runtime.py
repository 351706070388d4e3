"""One runtime test of one driver, typed in under half a minute."""

from datetime import UTC, datetime, timedelta
from typing import Any

from django import forms

from fleet.batteries.actions import NewTest
from fleet.batteries.forms.fields import (
    KEEP_LABEL,
    STOPS,
    ClockField,
    RuntimeField,
    ambient_field,
    charge_field,
    last_before,
    local,
    next_after,
    rate_field,
    run_day,
    syringe_field,
)
from fleet.batteries.models import RuntimeTest
from fleet.batteries.wording import span
from fleet.bench.models import Order
from fleet.registry.models import Device
from fleet.web.forms import alternative


class RunForm(forms.Form):
    """A test: what it began with, when it started, when or after how long it stopped, and why."""

    charge_hours = charge_field()
    rate = rate_field()
    syringe_ml = syringe_field()
    started_on = run_day("Day of the start")
    started_at = ClockField(label="Started at")
    stopped_at = alternative(ClockField(label="Stopped at", required=False))
    ran = alternative(RuntimeField(label="or ran, h:mm", required=False))
    low_alarm_at = ClockField(label="Low-battery alarm at", required=False)
    stop = forms.ChoiceField(label="Why it stopped", choices=STOPS, widget=forms.RadioSelect)
    ambient_c = ambient_field()
    stopped_on = alternative(run_day("Stopped on", required=False, hint="Only after 24 h or more."))
    confirmed = forms.BooleanField(label=KEEP_LABEL, required=False)

    def clean(self) -> dict[str, Any]:
        """Work out start, stop and alarm as instants."""
        typed: dict[str, Any] = super().clean() or {}
        if typed.get("started_on") and typed.get("started_at"):
            start = local(typed["started_on"], typed["started_at"])
            stop = self._stop(start, typed)
            typed["start"], typed["end"] = start, stop
            typed["alarm"] = last_before(stop, typed["low_alarm_at"]) if stop and typed.get("low_alarm_at") else None
        return typed

    def _stop(self, start: datetime, typed: dict[str, Any]) -> datetime | None:
        at, on, ran = typed.get("stopped_at"), typed.get("stopped_on"), typed.get("ran")
        by_clock = (local(on, at) if on else next_after(start, at)) if at else None
        by_runtime = (start.astimezone(UTC) + ran) if ran else None
        if by_clock is None and by_runtime is None:
            if not self.errors.keys() & {"stopped_at", "ran", "stopped_on"}:
                self.add_error("stopped_at", "Give the time it stopped, or the runtime.")
            return None
        if by_clock and by_runtime and by_clock != by_runtime:
            apart = span(by_clock.astimezone(UTC) - start) if by_clock > start else "no time"
            self.add_error(
                "ran", f"Start and stop are {apart} apart, not {span(ran or timedelta())}. Give one of them."
            )
            return None
        return by_clock or by_runtime

    def new_test(self, device: Device, order: Order | None) -> NewTest:
        """The test as the action takes it."""
        typed = self.cleaned_data
        return NewTest(
            device=device,
            order=order,
            charge_hours=typed["charge_hours"],
            rate=typed["rate"],
            syringe_ml=typed["syringe_ml"],
            started_at=typed["start"],
            stopped_at=typed["end"],
            low_alarm_at=typed["alarm"],
            stop=RuntimeTest.Stop(typed["stop"]),
            ambient_c=typed["ambient_c"],
            confirmed=typed["confirmed"],
        )
