"""System checks: a wrong setting stops the start with an id and a hint."""

from collections.abc import Sequence
from typing import Any

from django.apps import AppConfig
from django.conf import settings
from django.core import checks
from django.core.exceptions import ImproperlyConfigured

TAG = "benchward"


def environment_is_sound(app_configs: Sequence[AppConfig] | None, **_options: Any) -> list[checks.CheckMessage]:
    """Report each fault found while the environment was read."""
    del app_configs  # settings belong to no single app
    return [checks.Error(fault.message, hint=fault.hint, id=fault.id) for fault in settings.ENVIRONMENT.faults]


def register() -> None:
    """Add Benchward's checks to Django's; called once, when the app is ready."""
    checks.register(environment_is_sound, TAG)


def require_sound_settings() -> None:
    """Stop a process that runs no management command (web server, job worker) if a setting is wrong.

    Raises ImproperlyConfigured, which names every wrong setting. Call it after `django.setup()`.
    """
    errors = [message for message in checks.run_checks(tags=[TAG]) if message.is_serious()]
    if errors:
        lines = (f"({error.id}) {error.msg}\n  HINT: {error.hint}" for error in errors)
        raise ImproperlyConfigured("\n".join(["Benchward does not start with these settings:", *lines]))
