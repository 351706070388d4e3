"""Change named fields of a row and say what changed, so that the trail and the row can't differ."""

import hashlib
from collections.abc import Iterable
from typing import Any

from django.db import models

from fleet.core.errors import ConflictError

Changes = tuple[dict[str, Any], dict[str, Any]]


def change(row: models.Model, **values: Any) -> Changes:
    """Set and save only the fields that differ; return (before, after) of just those.

    The caller holds the row's lock and an open transaction.
    """
    before = {name: _held(row, name, value) for name, value in values.items()}
    changed = [name for name, value in values.items() if before[name] != value]
    for name in changed:
        setattr(row, name, values[name])
    if changed:
        row.save(update_fields=changed)
    return {name: before[name] for name in changed}, {name: values[name] for name in changed}


def _held(row: models.Model, name: str, value: Any) -> Any:
    """What a field holds; what it points to is not read where it is `value` already."""
    if isinstance(value, models.Model) and value.pk is not None and getattr(row, f"{name}_id", None) == value.pk:
        return value
    return getattr(row, name)


def fingerprint(row: models.Model, names: Iterable[str]) -> str:
    """What these fields of the row hold now, as a short text that a form carries along to its sending."""
    held = "\x1f".join(f"{name}={row.serializable_value(name)!s}" for name in sorted(names))
    return hashlib.sha256(held.encode()).hexdigest()[:20]


def refuse_changed(row: models.Model, names: Iterable[str], opened: str | None) -> None:
    """Raise ConflictError if the fields differ from those the form was `opened` with (its fingerprint; None: no form).

    The caller holds the row's lock.
    """
    if opened is not None and opened != fingerprint(row, names):
        raise changed_meanwhile(row)


def changed_meanwhile(row: models.Model) -> ConflictError:
    """What is told to the second of two people who changed the same row."""
    return ConflictError(
        f"{row} was changed by somebody else while this page was open. Nothing was saved; what you typed is kept. "
        "Compare it with what stands on record now, then save again."
    )
