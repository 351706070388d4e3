"""Processes of ours with settings of their own."""

import os
from pathlib import Path

KEY = "k" * 50


def only_these(folder: Path, **variables: str) -> dict[str, str]:
    """Give an environment with these settings and none of the test run's own."""
    inherited = {name: value for name, value in os.environ.items() if not name.startswith(("BENCHWARD_", "DATABASE_"))}
    ours = {"DJANGO_SETTINGS_MODULE": "fleet.settings", "BENCHWARD_VAR": str(folder), "BENCHWARD_SECRET_KEY": KEY}
    return {**inherited, **ours, **variables}
