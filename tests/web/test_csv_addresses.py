"""No file of ours runs anything in a spreadsheet, whatever a name on record begins with (OWASP ASVS 5.0.0, 1.2.10)."""

import ast
import csv
import io
from collections.abc import Iterator
from decimal import Decimal, InvalidOperation
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings
from django.db import models
from django.db.models import F, Value
from django.db.models.functions import Concat
from django.test import Client
from django.urls import reverse

from fleet.audit import guard
from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor, Source
from fleet.exchange.kinds import KINDS
from fleet.notices.models import Notice
from fleet.people.roles import Role
from tests.builders import a_person
from tests.pages import signed_in
from tests.test_outsider import ADDRESSES, SHARED, WITH_ARGUMENTS, Site
from tests.test_outsider import site as site  # noqa: PLC0414 - a fixture, used by its name

pytestmark = pytest.mark.django_db
FLEET = Path(settings.BASE_DIR) / "fleet"
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\0")
#: Fields in which people write freely.
WRITTEN = {
    "name", "display_name", "model", "asset_number", "serial_number", "words", "screen_text", "note", "reason",
    "part_number", "reference", "stated_by", "seen_by", "batch", "location", "detail", "certificate", "by_name",
}  # fmt: skip
#: Files that are given back as they were sent: what somebody else wrote is not ours to change.
AS_SENT = {"bench/views/flow.py": "the log of a balance, as it came"}


@pytest.fixture(scope="module")
def hostile(site: Site) -> Site:
    """The site with "=" before whatever people wrote."""
    guarded = {ledger.table for ledger in guard.LEDGERS}
    for model in apps.get_app_config("fleet").get_models():
        for field in model._meta.concrete_fields:  # noqa: SLF001 - Django's public name for it
            free = isinstance(field, (models.CharField, models.TextField)) and not field.choices
            if free and field.name in WRITTEN and model._meta.db_table not in guarded:  # noqa: SLF001 - as above
                rows = model._default_manager.exclude(**{field.name: ""})  # noqa: SLF001 - as above
                rows.update(**{field.name: Concat(Value("=1+"), F(field.name))})
    site.device.refresh_from_db()
    site.worked_on.refresh_from_db()
    told = Happening("=1+checked", site.device, device_id=site.device.pk, why="@why", after={"note": "+1"})
    record(told, by=Actor("=1+mallory", Source.COMMAND))
    return site


def modules_with_csv() -> set[str]:
    found = set()
    for path in FLEET.rglob("views/*.py"):
        if "csv_out.answer(" in path.read_text():
            found.add("fleet." + path.relative_to(FLEET).with_suffix("").as_posix().replace("/", "."))
    return found


def asked(site: Site) -> Iterator[str]:
    for name in sorted(ADDRESSES):
        if name in {"exchange:export", "exchange:template"}:
            yield from (reverse(name, args=[kind]) for kind in KINDS)
        elif name not in SHARED and _gives_files(name):
            arguments = site.arguments(name) if name in WITH_ARGUMENTS else {}
            yield reverse(name, kwargs=arguments)
            yield reverse(name, kwargs=arguments) + "?as=csv"
    # Shared by all sites, so no address of the site's own.
    yield from (reverse("notices:csv", args=[notice.number]) for notice in Notice.objects.all())


def _gives_files(name: str) -> bool:
    entry = ADDRESSES[name]
    return entry.callback.__module__ in modules_with_csv() or "csv" in str(entry.pattern)


def is_number(cell: str) -> bool:
    try:
        return Decimal(cell).is_finite()
    except InvalidOperation:
        return False


def read(client: Client, address: str) -> tuple[str, list[str]]:
    """The view's module and every cell of its file; no cell where it is no file."""
    answer = client.get(address)
    if not answer.get("Content-Type", "").startswith("text/csv"):
        return "", []
    content = b"".join(answer.streaming_content) if answer.streaming else answer.content
    rows = csv.reader(io.StringIO(content.decode().removeprefix("\ufeff")))
    return answer.resolver_match.func.__module__, [cell for row in rows for cell in row]


def test_no_file_holds_a_formula(hostile: Site) -> None:
    """Every address that gives a file is asked; each cell that looks like a formula is quoted or a plain number."""
    client = signed_in(a_person(Role.ADMINISTRATOR, "=1+ada", everywhere=True))
    asked_modules, quoted = set(), 0
    for address in asked(hostile):
        module, cells = read(client, address)
        asked_modules.add(module)
        wrong = [cell for cell in cells if cell.lstrip(" ").startswith(FORMULA) and not is_number(cell)]
        assert wrong == [], address
        quoted += any(cell.startswith("'=1+") for cell in cells)
    assert modules_with_csv() - asked_modules == set(), "no file came from these"
    assert quoted > 10


def test_one_helper_writes_every_file() -> None:
    """No room writes CSV by itself: nothing but fleet/web/csv_out.py makes a writer or an answer of that type."""
    for path in FLEET.rglob("*.py"):
        name = path.relative_to(FLEET).as_posix()
        if name == "web/csv_out.py" or name in AS_SENT:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        used = {
            node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute) and ast.unparse(node.value) == "csv"
        }
        assert not used & {"writer", "DictWriter"}, name
        texts = [
            node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)
        ]
        assert not [text for text in texts if text.startswith("text/csv;")], name
