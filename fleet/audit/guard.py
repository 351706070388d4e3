"""The database itself refuses to change or delete a row of an append-only table, on SQLite and on PostgreSQL."""

from typing import Final, NamedTuple

from django.db.backends.base.base import BaseDatabaseWrapper


class Ledger(NamedTuple):
    """An append-only table, the beginning of its triggers' names, and the words of the refusal."""

    table: str
    name: str
    words: str


TRAIL: Final = Ledger("fleet_trailentry", "trail", "the trail is append-only")
MOVEMENTS: Final = Ledger("fleet_movement", "movement", "the ledger of stock is append-only")
SEALS: Final = Ledger("fleet_seal", "seal", "seals are append-only")
ACCESS: Final = Ledger("fleet_accessentry", "access", "the log of access is append-only")
LEDGERS: Final = (TRAIL, MOVEMENTS, SEALS, ACCESS)


def install(connection: BaseDatabaseWrapper, ledger: Ledger = TRAIL) -> None:
    """Put the guard on. Run by a migration."""
    _run(connection, {"sqlite": _sqlite(ledger), "postgresql": _postgresql(ledger)})


def remove(connection: BaseDatabaseWrapper, ledger: Ledger = TRAIL) -> None:
    """Take the guard off. Run when a migration is undone, and by tests that empty the database."""
    sqlite = [f"DROP TRIGGER IF EXISTS {ledger.name}_no_{verb}" for verb in ("update", "delete")]
    postgresql = [
        f"DROP TRIGGER IF EXISTS {ledger.name}_no_{verb} ON {ledger.table}" for verb in ("change", "truncate")
    ]
    _run(connection, {"sqlite": sqlite, "postgresql": postgresql})


def _sqlite(ledger: Ledger) -> list[str]:
    return [
        f"CREATE TRIGGER {ledger.name}_no_{verb.lower()} BEFORE {verb} ON {ledger.table} "
        f"BEGIN SELECT RAISE(ABORT, '{ledger.words}'); END"
        for verb in ("UPDATE", "DELETE")
    ]


def _postgresql(ledger: Ledger) -> list[str]:
    return [
        f"""
        CREATE OR REPLACE FUNCTION {ledger.name}_refuse() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN RAISE EXCEPTION '{ledger.words}'; END $$
        """,
        f"""
        CREATE TRIGGER {ledger.name}_no_change BEFORE UPDATE OR DELETE ON {ledger.table}
        FOR EACH ROW EXECUTE FUNCTION {ledger.name}_refuse()
        """,
        f"""
        CREATE TRIGGER {ledger.name}_no_truncate BEFORE TRUNCATE ON {ledger.table}
        FOR EACH STATEMENT EXECUTE FUNCTION {ledger.name}_refuse()
        """,
    ]


def _run(connection: BaseDatabaseWrapper, statements: dict[str, list[str]]) -> None:
    with connection.cursor() as cursor:
        for statement in statements[connection.vendor]:
            cursor.execute(statement)
