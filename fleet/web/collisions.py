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
    "device.asset_number": "This asset number was given to another driver a moment ago. Give another one.",
    "device_serial_once_per_type": "A driver of this type with this serial number was added a moment ago. Look it up.",
    "pack.number": "This pack number was given to another pack a moment ago. Give another one.",
    "instrument.number": "This number was given to another instrument a moment ago. Give another one.",
    "fitting_one_pack_per_device": f"Somebody fitted a pack to this driver a moment ago. {_AGAIN}",
    "fitting_one_device_per_pack": f"Somebody fitted this pack to a driver a moment ago. {_AGAIN}",
    "test_once_per_start": "A test of this pack with the same start was logged a moment ago. It is on record once.",
    "cycle_count_once_a_day": "The cycles of this pack were counted today already. The first count stands.",
    "order_open_once_per_kind": "An order of this kind was opened on this driver a moment ago. Go on with that one.",
    "reading_latest_once": f"Somebody answered this step a moment ago. {_AGAIN}",
    "tag_open_once_per_device": "This driver was tagged a moment ago. Send your report again: it joins that tag.",
    "quarantine_open_once_per_device": f"This driver came under quarantine a moment ago. {_AGAIN}",
    "alert_open_once": f"This alert of the driver was put on record a moment ago. {_AGAIN}",
    "round_open_once": "Somebody began this round a moment ago. Go on with theirs.",
    "round_stop_latest_once": f"Somebody answered this driver on the round a moment ago. {_AGAIN}",
    "plan_once_per_type": "A plan of this name was added to the type a moment ago. Give another name, or use that one.",
    "place_name_once_per_parent": "A place of this name was added here a moment ago. Give another name, or use it.",
}
GENERAL: Final = f"Somebody else saved the same thing at the same moment, so yours was not saved. {_AGAIN}"
_SQLITE: Final = re.compile(r"UNIQUE constraint failed: (?P<columns>[\w., ]+)$")
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
            if isinstance(each, models.UniqueConstraint) and each.fields:
                names[_key(table, [_column(model, name) for name in each.fields])] = each.name
    return names


def options(model: type[models.Model]) -> Any:
    """What Django knows of a model's table; documented, in spite of its name."""
    return model._meta  # noqa: SLF001 - see above


def _column(model: type[models.Model], name: str) -> str:
    return str(options(model).get_field(name).column)
