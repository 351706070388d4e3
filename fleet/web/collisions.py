"""Two people at the same moment: what the database refuses is said in a sentence, by the name of the constraint.

An action looks before it writes, but two can look at once. The constraint then lets one of them through; the other is
told here what happened and what to do, where else a plain error page would stand. What is not on the list and forbids
a second row of the same kind gets the general sentence; any other refusal of the database is a fault and stays one.
"""

import re
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, Final

from django.apps import apps
from django.db import IntegrityError, connections, models
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.core.errors import ConflictError

CONFLICT: Final = 409
_AGAIN: Final = "Look at it as it stands now, then send yours again if it is still needed."
SENTENCES: Final[Mapping[str, str]] = {
    "person.username": "This sign-in name was given to another person a moment ago. Give another one.",
    "party.name": "A maker or supplier of this name was added a moment ago. Choose that one.",
    "party.code": "This code was given to another maker or supplier a moment ago. Give another one.",
    "place.code": "This code was given to another place a moment ago. Give another one.",
    "place_name_once_per_parent": "A place of this name was added here a moment ago. Give another name, or use it.",
    "device_type_once": "This device type was added a moment ago. Choose that one.",
    "typeidentifier.di": "This device identifier was given to a type a moment ago. Look up which one.",
    "rated_runtime_once_per_rate": f"Somebody stated the runtime at this rate a moment ago. {_AGAIN}",
    "accessory_once_per_type": "An accessory of this name was added to the type a moment ago. Use that one.",
    "device.asset_number": "This asset number was given to another driver a moment ago. Give another one.",
    "device_serial_once_per_type": "A driver of this type with this serial number was added a moment ago. Look it up.",
    "tally_accessory_once": f"Somebody counted these accessories a moment ago. {_AGAIN}",
    "missing_open_once": f"Somebody put this accessory down as missing a moment ago. {_AGAIN}",
    "alertkind.code": "This code was given to another kind of alert a moment ago. Give another one.",
    "alert_open_once": f"This alert of the driver was put on record a moment ago. {_AGAIN}",
    "instrument.number": "This number was given to another instrument a moment ago. Give another one.",
    "part.number": "This part number was given to another part a moment ago. Give another one.",
    "shelf_once_per_part_and_place": f"Somebody stated the shelf of this part here a moment ago. {_AGAIN}",
    "stock_once_per_batch": f"Somebody booked this batch in here a moment ago. {_AGAIN}",
    "procedure.code": "A procedure with this code was added a moment ago. Give another code, or use that one.",
    "procedure_version_once": f"Somebody made the next version of this procedure a moment ago. {_AGAIN}",
    "procedure_one_draft": "Somebody began a draft of this procedure a moment ago. Go on with that one.",
    "step_position_once": f"Somebody changed the steps of this draft a moment ago. {_AGAIN}",
    "step_key_once": "A step of this draft took the same name in formulas a moment ago. Give another one.",
    "step_limit_once": f"Somebody stated the limits of this step for the type a moment ago. {_AGAIN}",
    "placecalendar.place": f"Somebody stated the working days of this place a moment ago. {_AGAIN}",
    "plan_once_per_type": "A plan of this name was added to the type a moment ago. Give another name, or use that one.",
    "due_once_per_device_and_plan": f"This plan was applied to the driver a moment ago. {_AGAIN}",
    "driveruse.device": f"Somebody put the use of this driver on record a moment ago. {_AGAIN}",
    "counter_reading_once_a_day": f"The counter of this driver was put on record for the day a moment ago. {_AGAIN}",
    "risk_class_once_per_scale": "A class of this name was added to the scale a moment ago. Give another name.",
    "type_risk_stands_once": f"Somebody scored the risk of this type a moment ago. {_AGAIN}",
    "tag_open_once_per_device": "This driver was tagged a moment ago. Send your report again: it joins that tag.",
    "tagreport.key": "This report was taken in a moment ago; it is on record once.",
    "quarantine_open_once_per_device": f"This driver came under quarantine a moment ago. {_AGAIN}",
    "order_open_once_per_kind": "An order of this kind was opened on this driver a moment ago. Go on with that one.",
    "delivery_limit_once": f"Somebody stated this limit of delivery a moment ago. {_AGAIN}",
    "limitprofile.code": "This code was given to another set of reference limits a moment ago. Give another one.",
    "limitprofile.name": "A set of reference limits of this name was added a moment ago. Give another name.",
    "referencelimit.replaced_by": f"Somebody replaced this reference limit a moment ago. {_AGAIN}",
    "reference_limit_once": f"Somebody stated this reference limit a moment ago. {_AGAIN}",
    "limitpolicy.place": f"Somebody chose the reference limits of this place a moment ago. {_AGAIN}",
    "notice.number": "A notice with this number was written down a moment ago. Look it up.",
    "notice_one_draft": "Somebody began the next edition of this notice a moment ago. Go on with that one.",
    "notice_edition_once": f"Somebody made the next edition of this notice a moment ago. {_AGAIN}",
    "notice_driver_once": "This driver was matched with the notice a moment ago. It is on its list once.",
    "contract.renews": f"Somebody renewed this contract a moment ago. {_AGAIN}",
    "document_replaced_once": f"Somebody replaced this document a moment ago. {_AGAIN}",
    "training_told_once": "What is on record of your training was told on this order a moment ago. It is told once.",
    "training_once_a_day": "This training was put on record for the day a moment ago. It is there once.",
    "trainingpolicy.place": f"Somebody stated what holds for training at this place a moment ago. {_AGAIN}",
    "retirement_method_once": "This way was put on the list a moment ago. Use that one.",
    "retirement_once_per_device": "Somebody retired this driver a moment ago. Open its record and go on there.",
    "clock_runs_once": "Your clock was started on an order a moment ago. Stop that one first.",
    "labourclock.labour": "This clock was stopped a moment ago. Its minutes are on the order once.",
    "labourrate.from_on": f"Somebody stated the price of an hour from this day a moment ago. {_AGAIN}",
    "kit_line_once": f"Somebody put this part into the kit a moment ago. {_AGAIN}",
    "reading.sent_key": "This answer was saved a moment ago; it counts once.",
    "reading_latest_once": f"Somebody answered this step a moment ago. {_AGAIN}",
    "pack.number": "This pack number was given to another pack a moment ago. Give another one.",
    "fitting_one_pack_per_device": f"Somebody fitted a pack to this driver a moment ago. {_AGAIN}",
    "fitting_one_device_per_pack": f"Somebody fitted this pack to a driver a moment ago. {_AGAIN}",
    "test_once_per_start": "A test of this pack with the same start was logged a moment ago. It is on record once.",
    "cycle_count_once_a_day": "The cycles of this pack were counted today already. The first count stands.",
    "risk_limit_once": f"Somebody set the limit of this pool and kind of ward a moment ago. {_AGAIN}",
    "packsupply.device_type": f"Somebody stated how packs of this type are bought a moment ago. {_AGAIN}",
    "chemistrylife.chemistry": f"Somebody stated the life of this chemistry a moment ago. {_AGAIN}",
    "deliveryline.device": "This driver was taken in with a delivery a moment ago. Look it up.",
    "delivery_serial_once": "This serial number was scanned into the delivery a moment ago. It is on the list once.",
    "library.name": "A library of this name was added a moment ago. Use that one, or give another name.",
    "library.code": "This code was given to another library a moment ago. Give another one.",
    "library_version_once": "This version of the library was added a moment ago. Use that one.",
    "requirement_once": f"Somebody required this version here from the same day a moment ago. {_AGAIN}",
    "carried.device": f"Somebody put on record which library this driver carries a moment ago. {_AGAIN}",
    "loan_open_once_per_device": "Somebody lent this driver a moment ago. Take it back first, or lend another.",
    "round_open_once": "Somebody began this round a moment ago. Go on with theirs.",
    "roundstop.sent_key": "This answer was saved a moment ago; it counts once.",
    "round_stop_latest_once": f"Somebody answered this driver on the round a moment ago. {_AGAIN}",
}
#: Rows that no two people write at once, with the reason; every other constraint has its sentence.
UNREACHED: Final[Mapping[str, str]] = {
    "counter.name": "numbers are drawn under the lock of their row",
    "order.number": "drawn from a counter",
    "tag.number": "drawn from a counter",
    "forecast.pack": "written by the night alone, under its lock",
    "typeoutlook.device_type": "written by the night alone, under its lock",
    "job.key": "a job that is asked for twice is one job; the caller sees to it",
    "coverage_once_a_day": "written by the night alone",
    "digest_once_a_day": "written by the night alone",
    "documentfile.document": "written with its document, which only one can be",
    "seal.number": "written by one job at a time, under its lock",
    "presence_once": "written over by the same person's next look",
    "recheck_once": "written under the lock of its calibration",
    "readingfile.reading": "written with its reading, which only one can be",
}
GENERAL: Final = f"Somebody else saved the same thing at the same moment, so yours was not saved. {_AGAIN}"
_SQLITE: Final = re.compile(r"UNIQUE constraint failed: (?P<columns>[\w., ]+)$")
# One over expressions has no columns; it is told by its name.
_SQLITE_NAMED: Final = re.compile(r"UNIQUE constraint failed: index '(?P<name>\w+)'$")
_POSTGRES: Final = re.compile(r"Key \((?P<columns>[\w, ]+)\)=")


class CollisionError(ConflictError, IntegrityError):
    """Somebody else's row got there first. A refusal to pages, and still the database's to what expects a race."""


def telling(answer: Callable[[HttpRequest], HttpResponse]) -> "Telling":
    """Middleware: every page's refusals by the database are said in words."""
    return Telling(answer)


class Telling:
    """Say collisions in words: as a refusal to the view, or as a page where the view knows no better."""

    def __init__(self, answer: Callable[[HttpRequest], HttpResponse]) -> None:
        """Stand before `answer`."""
        self.answer = answer

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer with the database's refusals translated."""
        with connections["default"].execute_wrapper(in_words):
            return self.answer(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """The page of a collision that no view has caught."""
        if isinstance(error, CollisionError):
            return render(request, "409.html", {"says": str(error)}, status=CONFLICT)
        return None


def in_words(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: dict[str, Any]) -> Any:  # noqa: FBT001 - Django's own signature
    """Run a statement; raise CollisionError with a sentence for a second row where only one may be."""
    try:
        return execute(sql, params, many, context)
    except IntegrityError as error:
        if name := constraint_of(error):
            raise CollisionError(SENTENCES.get(name, GENERAL)) from error
        raise


def constraint_of(error: IntegrityError) -> str:
    """The name of the unique constraint that refused, `model.field` for a field's own; empty for any other refusal."""
    told = getattr(error.__cause__, "diag", None)
    if told is not None:
        key = _POSTGRES.search(told.message_detail or "")
        known = {str(told.constraint_name)} & set(_names().values())
        if known or not key:
            return next(iter(known), "")
        return _names().get(_key(str(told.table_name), key["columns"].split(", ")), "")
    if named := _SQLITE_NAMED.search(str(error)):
        return named["name"]
    found = _SQLITE.search(str(error))
    if found is None:
        return ""
    columns = [column.split(".") for column in found["columns"].split(", ")]
    return _names().get(_key(columns[0][0], [column for _, column in columns]), "")


def _key(table: str, columns: list[str]) -> str:
    return f"{table}({', '.join(columns)})"


@cache
def _names() -> dict[str, str]:
    """The name of each unique constraint by its table and columns, which is all that SQLite tells."""
    names = {}
    for model in apps.get_models():
        fields = options(model)
        table = fields.db_table
        for field in fields.concrete_fields:
            if field.unique and field.column:
                names[_key(table, [field.column])] = f"{fields.model_name}.{field.name}"
        for each in fields.constraints:
            if isinstance(each, models.UniqueConstraint):
                columns = [_column(model, name) for name in each.fields] or [f"index {each.name}"]
                names[_key(table, columns)] = each.name
    return names


def options(model: type[models.Model]) -> Any:
    """What Django knows of a model's table; documented, in spite of its name."""
    return model._meta  # noqa: SLF001 - see above


def _column(model: type[models.Model], name: str) -> str:
    return str(options(model).get_field(name).column)
