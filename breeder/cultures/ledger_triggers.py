"""The database's own refusal to change or remove a ledger entry."""

from typing import Any

from django.db import connections, transaction

TABLE = "breeder_entry"
SAYS = "An entry of the ledger is never changed or removed. Write a correcting entry instead."

_SQLITE = (
    """
CREATE TRIGGER IF NOT EXISTS entry_is_kept_UPDATE BEFORE UPDATE ON {table}
BEGIN SELECT RAISE(ABORT, '{says}'); END
""",
    """
CREATE TRIGGER IF NOT EXISTS entry_is_kept_DELETE BEFORE DELETE ON {table}
BEGIN SELECT RAISE(ABORT, '{says}'); END
""",
    # INSERT OR REPLACE removes the older row without asking the trigger before a DELETE.
    """
CREATE TRIGGER IF NOT EXISTS entry_is_kept_REPLACE BEFORE INSERT ON {table}
WHEN EXISTS (SELECT 1 FROM {table} WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, '{says}'); END
""",
)
_POSTGRESQL = (
    """
CREATE OR REPLACE FUNCTION entry_is_kept() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION '{says}' USING ERRCODE = 'integrity_constraint_violation'; END $$
""",
    "DROP TRIGGER IF EXISTS entry_is_kept ON {table}",
    "CREATE TRIGGER entry_is_kept BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION entry_is_kept()",
)


def guard_ledger(using: str = "default", **_: Any) -> None:
    """Lay the triggers that keep the ledger append-only; safe to call again."""
    connection = connections[using]
    # All or none: on PostgreSQL the older trigger goes first, and a ledger between the two would be unguarded.
    with transaction.atomic(using=using), connection.cursor() as cursor:
        if TABLE not in connection.introspection.table_names(cursor):
            return
        for statement in _statements(connection.vendor):
            cursor.execute(statement)


def _statements(vendor: str) -> list[str]:
    texts = _POSTGRESQL if vendor == "postgresql" else _SQLITE
    return [text.format(table=TABLE, says=SAYS) for text in texts]
