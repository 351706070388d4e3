"""Change named fields of a row and say what changed, so that the trail and the row can't differ."""

from typing import Any

from django.db import models

Changes = tuple[dict[str, Any], dict[str, Any]]


def change(row: models.Model, **values: Any) -> Changes:
    """Set and save only the fields that differ; return (before, after) of just those.

    The caller holds the row's lock and an open transaction.
    """
    before = {name: getattr(row, name) for name in values}
    changed = [name for name, value in values.items() if before[name] != value]
    for name in changed:
        setattr(row, name, values[name])
    if changed:
        row.save(update_fields=changed)
    return {name: before[name] for name in changed}, {name: values[name] for name in changed}
