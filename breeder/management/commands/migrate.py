"""`manage.py migrate`: Django's own, but each migration is recorded in the same transaction that applies it.

Django defers indexes and keys to the end of a migration, and if it deferred any, it records the migration only after
the commit. A computer that is switched off between the two could never be brought up to date again.
"""

from typing import Any

from django.core.management.commands import migrate
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations import Migration
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.state import ProjectState


class WholeMigrations(MigrationExecutor):
    """Applies migrations as Django does, with nothing deferred when it records them."""

    def apply_migration(self, state: ProjectState, migration: Migration, *args: Any, **kwargs: Any) -> ProjectState:
        apply = migration.apply

        def whole(before: ProjectState, editor: BaseDatabaseSchemaEditor, collect_sql: bool = False) -> ProjectState:
            after = apply(before, editor, collect_sql)
            deferred, editor.deferred_sql = editor.deferred_sql, []
            for statement in deferred:
                editor.execute(statement)
            return after

        migration.apply = whole  # type: ignore[method-assign]
        try:
            return super().apply_migration(state, migration, *args, **kwargs)
        finally:
            del migration.apply


class Command(migrate.Command):
    def handle(self, *args: Any, **options: Any) -> None:
        migrate.MigrationExecutor = WholeMigrations  # Django's command makes its own
        super().handle(*args, **options)
