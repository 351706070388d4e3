"""What every test may ask for: a database that can be emptied, a child process's environment, a browser."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from django.conf import settings
from django.db import connection
from django.test import TransactionTestCase

from fleet.audit import guard
from tests.settings import TEST_VAR
from tests.surroundings import IN_CI

pytest_plugins = ["tests.cast", "tests.no_skips", "tests.standing"]

ON_POSTGRES = settings.DATABASES["default"]["ENGINE"].endswith("postgresql")
WITH_REDIS = settings.CELERY_BROKER_URL.startswith("redis")
PUBLISHED_DATA = Path(settings.BASE_DIR).parent / "shared" / "data"

NEEDS = {
    "postgres": (ON_POSTGRES, "only on PostgreSQL: set DATABASE_URL"),
    "sqlite": (not ON_POSTGRES, "only on SQLite: unset DATABASE_URL"),
    "redis": (WITH_REDIS, "only with Redis: set BENCHWARD_BROKER_URL"),
}
#: Pure computation. What asks for no database here is the same on each, so in CI its run on SQLite proves it for both.
COMPUTATION = (Path(__file__).parent / "core", Path(__file__).parent / "published")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Keep a test from a database or broker it is not for.

    By hand it is skipped with the reason. In CI, where the suite runs once on each set, it is left to its own run, and
    computation without a database to the one on SQLite.
    """
    foreign: list[pytest.Item] = []
    for item in items:
        reasons = [reason for mark, (met, reason) in NEEDS.items() if not met and item.get_closest_marker(mark)]
        if IN_CI and (reasons or (ON_POSTGRES and _only_computes(item))):
            foreign.append(item)
        elif reasons:
            item.add_marker(pytest.mark.skip(reason="; ".join(reasons)))
    config.hook.pytest_deselected(items=foreign)
    left_out = set(foreign)
    items[:] = [item for item in items if item not in left_out]


def _only_computes(item: pytest.Item) -> bool:
    fixtures = getattr(item, "fixturenames", ())
    asks = item.get_closest_marker("django_db") or not {"db", "transactional_db"}.isdisjoint(fixtures)
    return not asks and any(folder in item.path.parents for folder in COMPUTATION)


def pytest_unconfigure() -> None:
    """Remove the folder of this run."""
    shutil.rmtree(TEST_VAR, ignore_errors=True)


#: The tables that every test finds filled, see `django_db_setup` in tests/standing.py.
OF_ROLES = {"django_content_type", "auth_permission", "auth_group", "auth_group_permissions"}


def _empty_tables(_case: TransactionTestCase) -> None:
    """Empty the tables after a transactional test, although the database refuses to delete rows of ledgers.

    Django's way truncates every table, which takes PostgreSQL seconds for ours. Roles and what they are made of stay.
    References are checked when all is deleted, so the order does not matter.
    """
    tables = set(connection.introspection.django_table_names(only_existing=True, include_views=False)) - OF_ROLES
    for ledger in guard.LEDGERS:
        guard.remove(connection, ledger)
    try:
        connection.ops.execute_sql_flush(
            [f"DELETE FROM {connection.ops.quote_name(table)}" for table in tables]  # noqa: S608 - Django's table names
        )
    finally:
        for ledger in guard.LEDGERS:
            guard.install(connection, ledger)


TransactionTestCase._fixture_teardown = _empty_tables  # noqa: SLF001 - the only seam Django leaves


@pytest.fixture
def child_environment(transactional_db: None) -> dict[str, str]:
    """Give the environment for a process of ours that works on this test's database, broker and folder."""
    return {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "fleet.settings",
        "DATABASE_URL": _database_url(),
        "BENCHWARD_BROKER_URL": settings.CELERY_BROKER_URL,
        "BENCHWARD_VAR": str(TEST_VAR),
        "BENCHWARD_SECRET_KEY": settings.SECRET_KEY,
    }


def _database_url() -> str:
    database = connection.settings_dict
    if not ON_POSTGRES:
        return f"sqlite:///{database['NAME']}"
    sign_in = quote(database["USER"], safe="")
    if database["PASSWORD"]:
        sign_in += f":{quote(database['PASSWORD'], safe='')}"
    return f"postgres://{sign_in}@{database['HOST']}:{database['PORT'] or 5432}/{database['NAME']}"


@pytest.fixture
def own_folder() -> Iterator[Path]:
    """Give an empty folder for a process of ours, removed afterwards; short, because sockets live in it."""
    folder = Path(tempfile.mkdtemp(prefix="benchward-own-"))
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def published_data() -> Path:
    """Give the folder of published data sets that may lie beside the project."""
    if not PUBLISHED_DATA.is_dir():
        pytest.skip("no published data in ../shared/data")
    return PUBLISHED_DATA


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """Give the browser's program: BENCHWARD_CHROMIUM, or the first one on the path."""
    names = ("chromium", "chromium-browser", "google-chrome")
    found = os.environ.get("BENCHWARD_CHROMIUM") or next(filter(None, map(shutil.which, names)), None)
    if not found:
        pytest.skip("no Chromium on this machine: install it, or name it in BENCHWARD_CHROMIUM")
    return found
