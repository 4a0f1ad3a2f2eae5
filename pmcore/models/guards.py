"""Triggers that refuse to change the record, on SQLite and PostgreSQL. There they fire always: a session that plays the
replica (`session_replication_role`) passes by any other.

They are no migrations: SQLite rebuilds a table by dropping the old one, and its triggers go with it. So they are taken
down before each migration, put up after it, and compared at start-up with what should be there.
"""

from typing import Any

from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

from pmcore.models.base import Fact, Recorded
from pmcore.models.entry import Entry, Text
from pmcore.models.kinds import RECORDED

GUARDED: tuple[type[Recorded], ...] = (*RECORDED, Entry, Text)

_FUNCTION = "pmcore_guard"
_ALWAYS = "A"  # of `tgenabled`; the usual "O" is silent in a session that plays the replica
_PG_BODY = """
DECLARE
  was jsonb;
  becomes jsonb;
BEGIN
  IF TG_OP = 'UPDATE' THEN
    was := to_jsonb(OLD);
    becomes := to_jsonb(NEW);
    IF TG_ARGV[0] = 'fact'
       AND was ->> 'replaced_by' IS NULL AND becomes ->> 'replaced_by' IS NOT NULL
       AND was - 'replaced_by' = becomes - 'replaced_by' THEN
      RETURN NEW;
    END IF;
    IF TG_ARGV[0] = 'text'
       AND was ->> 'words' IS NOT NULL AND becomes ->> 'words' IS NULL AND becomes ->> 'salt' IS NULL
       AND was - 'words' - 'salt' = becomes - 'words' - 'salt' THEN
      RETURN NEW;
    END IF;
  END IF;
  RAISE EXCEPTION 'the record is never changed: % on %', TG_OP, TG_TABLE_NAME
    USING ERRCODE = 'integrity_constraint_violation';
END
"""


def shape(model: type[Recorded]) -> str:
    """Which change a guard lets through: a fact is replaced once, a text is emptied once, all else stays."""
    if issubclass(model, Fact):
        return "fact"
    return "text" if model is Text else "fixed"


def _sqlite_allowed(model: type[Recorded]) -> str:
    free = {"fact": ["replaced_by"], "text": ["salt", "words"], "fixed": []}[shape(model)]
    if not free:
        return "0"
    same = [f'OLD."{f.column}" IS NEW."{f.column}"' for f in model._meta.concrete_fields if f.column not in free]
    turns = {
        "fact": ["OLD.replaced_by IS NULL", "NEW.replaced_by IS NOT NULL"],
        "text": ["OLD.words IS NOT NULL", "NEW.words IS NULL", "NEW.salt IS NULL"],
    }[shape(model)]
    return " AND ".join([*turns, *same])


def _sqlite_wanted() -> dict[str, str]:
    wanted = {}
    for model in GUARDED:
        table = model._meta.db_table
        refusal = f"BEGIN SELECT RAISE(ABORT, 'the record is never changed: {table}'); END"
        wanted[f"guard_update_{table}"] = (
            f'CREATE TRIGGER "guard_update_{table}" BEFORE UPDATE ON "{table}" '
            f"WHEN NOT ({_sqlite_allowed(model)}) {refusal}"
        )
        wanted[f"guard_delete_{table}"] = f'CREATE TRIGGER "guard_delete_{table}" BEFORE DELETE ON "{table}" {refusal}'
    return wanted


def _pg_wanted() -> dict[str, str]:
    wanted = {}
    for model in GUARDED:
        table = model._meta.db_table
        wanted[f"guard_rows_{table}"] = (
            f"CREATE TRIGGER guard_rows_{table} BEFORE DELETE OR UPDATE ON public.{table} "
            f"FOR EACH ROW EXECUTE FUNCTION {_FUNCTION}('{shape(model)}')"
        )
        wanted[f"guard_truncate_{table}"] = (
            f"CREATE TRIGGER guard_truncate_{table} BEFORE TRUNCATE ON public.{table} "
            f"FOR EACH STATEMENT EXECUTE FUNCTION {_FUNCTION}('{shape(model)}')"
        )
    return wanted


def _sqlite_present(connection: BaseDatabaseWrapper) -> dict[str, str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'guard%'")
        return dict(cursor.fetchall())


def _pg_present(connection: BaseDatabaseWrapper) -> dict[str, str]:
    """What stands, as its definition. A trigger that can be passed by does not count, nor any on another function."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT prosrc FROM pg_proc WHERE proname = %s", [_FUNCTION])
        body = cursor.fetchone()
        cursor.execute(
            "SELECT tgname, pg_get_triggerdef(oid), tgenabled FROM pg_trigger "
            "WHERE NOT tgisinternal AND tgname LIKE 'guard%%'"
        )
        found = cursor.fetchall()
    sound = body is not None and body[0] == _PG_BODY
    return {name: text if sound and enabled == _ALWAYS else "switched off" for name, text, enabled in found}


def wanted(connection: BaseDatabaseWrapper) -> dict[str, str]:
    return _sqlite_wanted() if connection.vendor == "sqlite" else _pg_wanted()


def present(connection: BaseDatabaseWrapper) -> dict[str, str]:
    return _sqlite_present(connection) if connection.vendor == "sqlite" else _pg_present(connection)


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of guards that are not there, or not as they should be."""
    there = present(connection)
    return sorted(name for name, text in wanted(connection).items() if there.get(name) != text)


def put_up(connection: BaseDatabaseWrapper) -> None:
    take_down(connection)
    with connection.cursor() as cursor:
        if connection.vendor != "sqlite":
            cursor.execute(
                f"CREATE OR REPLACE FUNCTION {_FUNCTION}() RETURNS trigger LANGUAGE plpgsql AS $g${_PG_BODY}$g$"
            )
        for statement in wanted(connection).values():
            cursor.execute(statement)
        if connection.vendor != "sqlite":
            for model in GUARDED:
                for trigger in ("guard_rows", "guard_truncate"):
                    table = model._meta.db_table
                    cursor.execute(f"ALTER TABLE public.{table} ENABLE ALWAYS TRIGGER {trigger}_{table}")


def take_down(connection: BaseDatabaseWrapper) -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            for name in present(connection):
                cursor.execute(f'DROP TRIGGER "{name}"')
        else:
            cursor.execute(
                "SELECT tgname, tgrelid::regclass::text FROM pg_trigger "
                "WHERE NOT tgisinternal AND tgname LIKE 'guard%%'"
            )
            for name, table in cursor.fetchall():
                cursor.execute(f"DROP TRIGGER {name} ON {table}")


def before_migration(using: str, **_: Any) -> None:
    take_down(connections[using])


def after_migration(using: str, **_: Any) -> None:
    """Put the guards up, unless the migration stopped before all tables stand: then the start is refused."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    if all(model._meta.db_table in tables for model in GUARDED):
        put_up(connection)
