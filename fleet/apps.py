"""The one Django app."""

from django.apps import AppConfig

from fleet.web import checks


class FleetConfig(AppConfig):
    """Every room of the house under one label, `fleet`, and one migration history."""

    name = "fleet"
    verbose_name = "Benchward"

    def ready(self) -> None:
        """Register the checks that stop the start on a wrong setting."""
        checks.register()
