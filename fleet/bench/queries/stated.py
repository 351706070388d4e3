"""Procedures as a plain text file (TOML): the form is told on a page, in docs/procedure-files.md, and by the starters.

Written and read again, a procedure says the same.
"""

import json
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any, Final

from fleet.bench.models import OrderKind, ProcedureVersion
from fleet.bench.queries.lines import BOUNDS, LISTS, NewStep, OwnLimit, lines_of
from fleet.core.errors import BadValueError
from fleet.core.sealing import seal
from fleet.registry.models import DeviceType

NEEDED: Final = ("name", "kind", "source", "steps")
MAY_HAVE: Final = ("type", "changes")
_LIMIT: Final = ("type", "low", "high", "source")
_DEFAULTS: Final = {field.name: field.default for field in fields(NewStep)}
_SEE: Final = "See the page “The form of a procedure file”."
#: What a value of each name must be, in words; all others are texts.
_NUMBER: Final = (int, Decimal)
_SORTS: Final[Mapping[str, tuple[tuple[type, ...], str]]] = {
    "required": ((bool,), "true or false"),
    "decimals": ((int,), "a whole number"),
    "low": (_NUMBER, "a number"),
    "high": (_NUMBER, "a number"),
    "limits": ((list, tuple), "a list of limits"),
    "passing": ((list, tuple), "a list of texts"),
    "failing": ((list, tuple), "a list of texts"),
}
_TEXT: Final = ((str,), "a text between quotation marks")

Table = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Stated:
    """One procedure as a file states it."""

    code: str
    name: str
    kind: str
    device_type: DeviceType | None
    source: str
    changes: str
    lines: tuple[NewStep, ...]


def read_stated(text: str) -> list[Stated]:
    """The procedures of a file. Raises BadValueError that names the procedure, the step and its field."""
    try:
        tables = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise _wrong(f"This is no TOML: {error}. {_SEE}") from error
    if not tables:
        raise _wrong(f"No procedure stands in this file. {_SEE}")
    types = {str(row): row for row in DeviceType.objects.select_related("maker")}
    return [_stated(code, table, types) for code, table in tables.items()]


def _stated(code: str, table: object, types: Mapping[str, DeviceType]) -> Stated:
    if not isinstance(table, dict) or (missing := [name for name in NEEDED if name not in table]):
        needed = ", ".join(NEEDED if not isinstance(table, dict) else missing)
        raise _wrong(f"[{code}]: it needs {needed}. {_SEE}")
    if unknown := set(table) - {*NEEDED, *MAY_HAVE}:
        raise _wrong(f"[{code}]: “{min(unknown)}” is not known here; use {', '.join((*NEEDED, *MAY_HAVE))}.")
    for name in ("name", "kind", "source", "changes"):
        if not isinstance(table.get(name, ""), str):
            raise _wrong(f"[{code}], {name}: write {_TEXT[1]}.")
    if table["kind"] not in OrderKind.values:
        raise _wrong(f"[{code}], kind: “{table['kind']}” is no kind of order; use {', '.join(OrderKind.values)}.")
    if not isinstance(table["steps"], list) or not all(isinstance(step, dict) for step in table["steps"]):
        raise _wrong(f"[{code}], steps: begin each step with [[{code}.steps]].")
    device_type = _type(table["type"], types, f"[{code}], type") if "type" in table else None
    lines = tuple(_numbered(code, position, step, types) for position, step in enumerate(table["steps"], start=1))
    changes = str(table.get("changes", "")).strip()
    return Stated(code, table["name"].strip(), table["kind"], device_type, table["source"].strip(), changes, lines)


def _numbered(code: str, position: int, table: Table, types: Mapping[str, DeviceType]) -> NewStep:
    try:
        return line_from(table, types)
    except BadValueError as error:
        raise _wrong(f"[{code}], step {position}, {error.field}: {error}") from error


def line_from(table: Table, types: Mapping[str, DeviceType]) -> NewStep:
    """A step from its table; `types` by their names. Raises BadValueError with the field that is wrong."""
    if unknown := set(table) - set(_DEFAULTS):
        message = f"“{min(unknown)}” is not known here; a step has {', '.join(_DEFAULTS)}."
        raise BadValueError(message, field=min(unknown))
    if "words" not in table:
        raise BadValueError("say what to do.", field="words")
    for name, value in table.items():
        _refuse_sort(name, value)
    values = dict(table) | {name: _bound(table[name]) for name in BOUNDS if name in table}
    values |= {name: tuple(table[name]) for name in LISTS if name in table}
    values["limits"] = tuple(_own(each, types) for each in table.get("limits", ()))
    return NewStep(**values)


def _refuse_sort(name: str, value: object) -> None:
    sorts, words = _SORTS.get(name, _TEXT)
    right = isinstance(value, sorts) and not (isinstance(value, bool) and bool not in sorts)
    if name in LISTS and right and isinstance(value, (list, tuple)):
        right = all(isinstance(each, str) for each in value)
    if not right:
        raise BadValueError(f"write {words}.", field=name)


def _own(table: object, types: Mapping[str, DeviceType]) -> OwnLimit:
    if not isinstance(table, dict) or not {"type", "source"} <= set(table) <= set(_LIMIT):
        raise BadValueError("a limit of a type has type, source, and low, high or both.", field="limits")
    for name, value in table.items():
        sorts, words = _NUMBER, "a number"
        if name not in BOUNDS:
            sorts, words = (str,), _TEXT[1]  # type: ignore[assignment] # one pair or the other
        if not isinstance(value, sorts) or isinstance(value, bool):
            raise BadValueError(f"{name} of a limit: write {words}.", field="limits")
    bounds = {name: _bound(table[name]) for name in BOUNDS if name in table}
    return OwnLimit(device_type=_type(table["type"], types, "limits"), source=table["source"], **bounds)


def _bound(value: int | Decimal) -> Decimal:
    return Decimal(value)


def _type(name: object, types: Mapping[str, DeviceType], where: str) -> DeviceType:
    if name not in types:
        raise BadValueError(f"{where}: No type is called “{name}”. Known: {', '.join(types) or 'none'}.", field="type")
    return types[str(name)]


def as_text(versions: Iterable[ProcedureVersion]) -> str:
    """The versions as one file, in the order given; nothing is left out that a reading of it would miss."""
    return "\n".join(line for version in versions for line in _procedure(version))


def _procedure(version: ProcedureVersion) -> Iterator[str]:
    procedure = version.procedure
    yield f"# {version}, {version.get_state_display().lower()}. The maker's instructions and local policy come first."
    yield f"[{procedure.code}]"
    facts = {"name": procedure.name, "kind": procedure.kind, "source": version.source, "changes": version.changes}
    if procedure.device_type:
        facts["type"] = str(procedure.device_type)
    yield from (f"{name} = {written(value)}" for name, value in facts.items() if value or name in NEEDED)
    yield ""
    for line in lines_of(version):
        yield f"[[{procedure.code}.steps]]"
        yield from (f"{name} = {written(value)}" for name, value in step_table(line).items())
        yield ""


def step_table(line: NewStep) -> dict[str, Any]:
    """A step as a table, without what is as it would be if it were left out."""
    table = {name: getattr(line, name) for name in _DEFAULTS if getattr(line, name) != _DEFAULTS[name]}
    if line.limits:
        table["limits"] = [_own_table(own) for own in line.limits]
    return table


def edition(lines: Iterable[NewStep], source: str) -> str:
    """A digest of what a procedure says, the same whether it stands in a file or in the database."""
    return seal({"source": source, "steps": [step_table(line) for line in lines]})


def _own_table(own: OwnLimit) -> dict[str, Any]:
    bounds = {name: getattr(own, name) for name in BOUNDS if getattr(own, name) is not None}
    return {"type": str(own.device_type), **bounds, "source": own.source}


def written(value: Any) -> str:
    """A value as TOML 1.0 writes it. A basic string is JSON's, but that DEL is escaped, too."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(written(each) for each in value)}]"
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{name} = {written(each)}' for name, each in value.items())} }}"
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")


def _wrong(message: str) -> BadValueError:
    return BadValueError(message, field="file")
