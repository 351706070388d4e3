"""The database refuses to change or delete a row of the trail."""

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from fleet.audit import guard


def _install(_apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    guard.install(editor.connection)


def _remove(_apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    guard.remove(editor.connection)


class Migration(migrations.Migration):
    """Put the guard on the trail's table."""

    dependencies = [("fleet", "0001_initial")]
    operations = [migrations.RunPython(_install, _remove)]
