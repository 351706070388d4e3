"""The database itself refuses to change or delete a row of the trail, on SQLite and on PostgreSQL."""

from django.db.backends.base.base import BaseDatabaseWrapper

_TABLE = "fleet_trailentry"
_WORDS = "the trail is append-only"

_SQLITE = [
    f"CREATE TRIGGER trail_no_{verb.lower()} BEFORE {verb} ON {_TABLE} BEGIN SELECT RAISE(ABORT, '{_WORDS}'); END"
    for verb in ("UPDATE", "DELETE")
]
_POSTGRESQL = [
    f"""
    CREATE OR REPLACE FUNCTION trail_refuse() RETURNS trigger LANGUAGE plpgsql AS
    $$ BEGIN RAISE EXCEPTION '{_WORDS}'; END $$
    """,
    f"""
    CREATE TRIGGER trail_no_change BEFORE UPDATE OR DELETE ON {_TABLE}
    FOR EACH ROW EXECUTE FUNCTION trail_refuse()
    """,
    f"""
    CREATE TRIGGER trail_no_truncate BEFORE TRUNCATE ON {_TABLE}
    FOR EACH STATEMENT EXECUTE FUNCTION trail_refuse()
    """,
]
_SQLITE_OFF = ["DROP TRIGGER IF EXISTS trail_no_update", "DROP TRIGGER IF EXISTS trail_no_delete"]
_POSTGRESQL_OFF = [
    f"DROP TRIGGER IF EXISTS trail_no_change ON {_TABLE}",
    f"DROP TRIGGER IF EXISTS trail_no_truncate ON {_TABLE}",
]


def install(connection: BaseDatabaseWrapper) -> None:
    """Put the guard on. Run by a migration."""
    _run(connection, {"sqlite": _SQLITE, "postgresql": _POSTGRESQL})


def remove(connection: BaseDatabaseWrapper) -> None:
    """Take the guard off. Run when a migration is undone, and by tests that empty the database."""
    _run(connection, {"sqlite": _SQLITE_OFF, "postgresql": _POSTGRESQL_OFF})


def _run(connection: BaseDatabaseWrapper, statements: dict[str, list[str]]) -> None:
    with connection.cursor() as cursor:
        for statement in statements[connection.vendor]:
            cursor.execute(statement)
