"""Rows that stand for more than one test: the roles for all, and what a file builds once for its own."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.db import transaction
from pytest_django.plugin import DjangoDbBlocker

from fleet.people.actions import ensure_roles


@contextmanager
def undone() -> Iterator[None]:
    """Undo at the end whatever is done inside."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> None:
    """Make the roles with the database, as every installation does; they stay when a transactional test empties it."""
    with django_db_blocker.unblock():
        ensure_roles()


@pytest.fixture(scope="module")
def standing(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """Let a file's fixtures of scope "module" write rows that each of its tests finds as they were written.

    A test marked `django_db` works in a savepoint on top, so it leaves nothing to the next. Not for a file with
    transactional tests: those see only what is committed.
    """
    with django_db_blocker.unblock(), undone():
        yield
