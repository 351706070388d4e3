"""A charging rack: one line that all share, and a row for each driver. Empty rows are left out."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.http import QueryDict

from fleet.batteries.actions import NewTest
from fleet.batteries.forms.fields import (
    KEEP_LABEL,
    SHORT_STOPS,
    ClockField,
    charge_field,
    last_before,
    local,
    next_after,
    rate_field,
    run_day,
    syringe_field,
)
from fleet.batteries.models import RuntimeTest
from fleet.bench.queries import find
from fleet.core.errors import BadValueError
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.web.forms import alternative

PLACES = 10
#: What the action calls a value, and the cell of the row that holds it; anything else is shown in the driver's cell.
_CELLS = {"stopped_at": "stopped_at", "low_alarm_at": "low_alarm_at", "confirmed": "confirmed"}


class CommonForm(forms.Form):
    """What all drivers of the rack share."""

    charge_hours = alternative(charge_field(required=False, hint="Empty: each driver's own."))
    rate = alternative(rate_field(required=False, hint="Empty: the reference rate."))
    syringe_ml = syringe_field()
    started_on = run_day("Day of the start")
    started_at = ClockField(label="Started at")


class RowForm(forms.Form):
    """One driver of the rack. Left out when neither driver, stop nor alarm was typed."""

    position = forms.CharField(
        label="Position", max_length=20, required=False, widget=forms.TextInput(attrs={"data-skip": ""})
    )
    driver = forms.CharField(
        label="Driver", max_length=200, required=False, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    stopped_at = ClockField(label="Stopped at", required=False)
    low_alarm_at = ClockField(label="Low alarm at", required=False)
    stop = forms.ChoiceField(label="Why it stopped", choices=SHORT_STOPS, initial=SHORT_STOPS[0][0])
    confirmed = forms.BooleanField(label=KEEP_LABEL, required=False)

    device: Device | None = None

    @property
    def cells(self) -> list[forms.BoundField]:
        """The cells of the row that every row has."""
        return [cell for cell in self if cell.name != "confirmed"]

    @property
    def asked_back(self) -> bool:
        """Whether its runtime was unlikely, so that it is kept only where somebody says that it is right."""
        return bool(self["confirmed"].value()) or "confirmed" in self.errors

    @property
    def is_empty(self) -> bool:
        """Whether nothing was typed that belongs to this row alone."""
        return not any(str(self[name].value() or "").strip() for name in ("driver", "stopped_at", "low_alarm_at"))

    @property
    def name(self) -> str:
        """The row as an error names it: `Row 3 (A00012)`."""
        said = str(self["driver"].value() or "").strip()
        number = str(self.prefix).removeprefix("row")
        return f"Row {number} ({said})" if said else f"Row {number}"

    def look_up(self, person: Person) -> None:
        """Find the scanned driver, and say in the row what is missing."""
        typed = self.cleaned_data
        if not typed.get("driver"):
            self.add_error("driver", "Scan the driver that this row is about.")
        else:
            found = find(typed["driver"], person)
            self.device = found.device
            if not found.device:
                self.add_error("driver", found.words)
        if typed.get("stopped_at") is None and "stopped_at" not in self.errors:
            self.add_error("stopped_at", "Give the time it stopped.")

    def refuse(self, error: BadValueError) -> None:
        """Show what the action refuses in the cell it is about."""
        self.add_error(_CELLS.get(error.field, "driver"), str(error))

    def new_test(self, common: dict[str, Any], device: Device) -> NewTest:
        """The row, with what all share, as the action takes it."""
        typed = self.cleaned_data
        start = local(common["started_on"], common["started_at"])
        stop = next_after(start, typed["stopped_at"])
        alarm = typed["low_alarm_at"]
        return NewTest(
            device=device,
            charge_hours=device.charging_hours if common["charge_hours"] is None else common["charge_hours"],
            rate=device.device_type.reference_rate if common["rate"] is None else common["rate"],
            syringe_ml=common["syringe_ml"],
            started_at=start,
            stopped_at=stop,
            low_alarm_at=last_before(stop, alarm) if alarm else None,
            stop=RuntimeTest.Stop(typed["stop"]),
            rack_position=typed["position"],
            confirmed=typed["confirmed"],
        )


class Rack:
    """The whole page: the common line and ten rows. `refusals` says what is wrong, each with its row named.

    `drivers` stand in the first rows until something else is typed there.
    """

    def __init__(self, data: QueryDict | None, initial: dict[str, Any], drivers: Sequence[str] = ()) -> None:
        self.common = CommonForm(data, initial=initial)
        filled = dict(enumerate(drivers, start=1))
        self.rows = [
            RowForm(data, prefix=f"row{number}", initial={"position": str(number), "driver": filled.get(number, "")})
            for number in range(1, PLACES + 1)
        ]

    @property
    def filled(self) -> list[RowForm]:
        """The rows in which something was typed."""
        return [row for row in self.rows if not row.is_empty]

    def read(self, person: Person) -> list[tuple[RowForm, NewTest]]:
        """Read the common line and the filled rows; give each row that could be read, with its test.

        What is wrong stands in the forms afterwards: `is_sound` is false then, and `refusals` names the rows.
        """
        common = self.common.is_valid()
        for row in self.filled:
            if row.is_valid():
                row.look_up(person)
        self._refuse_twice()
        if not self.filled:
            self.common.add_error(None, "Nothing was typed in a row. Scan the first driver.")
        if not common:
            return []
        line = self.common.cleaned_data
        return [(row, row.new_test(line, row.device)) for row in self.filled if row.device and not row.errors]

    @property
    def is_sound(self) -> bool:
        """Whether nothing is wrong in the common line or in any filled row."""
        return not self.common.errors and not any(row.errors for row in self.filled)

    def _refuse_twice(self) -> None:
        seen: dict[int, str] = {}
        for row in self.filled:
            if row.device and row.device.pk in seen:
                row.add_error("driver", f"{row.device} stands in {seen[row.device.pk]} already.")
            elif row.device:
                seen[row.device.pk] = row.name

    @property
    def refusals(self) -> list[tuple[str, str, str]]:
        """What is wrong: the row's name, the words, and the id of the cell."""
        if not self.common.is_bound:
            return []
        return [
            (row.name, str(words), row[field].id_for_label)
            for row in self.filled
            for field, errors in row.errors.items()
            for words in errors
        ]
