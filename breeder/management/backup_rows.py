"""Rows of a backup on their way into the database: many of one table in one statement, without a model of each.

Django's own loading makes an object and a part of a statement for every row, which takes four times as long.
"""

import json
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from django.apps.registry import Apps
from django.core import serializers
from django.core.exceptions import ValidationError
from django.core.serializers.base import DeserializationError
from django.db import connection
from django.db.models import Model

BATCH = 1000
LONGEST_SHOWN = 80  # letters of a row that cannot be read
# What a row that is none raises: no JSON, no model of that name, a field too few, a value that its field does not take.
UNREADABLE = (ValueError, LookupError, TypeError, AttributeError, ValidationError, DeserializationError)


class CannotReadRow(Exception):
    """A line of the backup is no row of this book; says what is wrong with it."""


def load_rows(lines: Iterable[str], models: Apps) -> dict[str, int]:
    """Write the rows of a backup, one a line, into the tables of `models`; return how many of each model there were."""
    rows, waiting = Counter[str](), _Waiting()
    for line in lines:
        with _naming(line):
            row = json.loads(line)
            model = models.get_model(row["model"])
        if model is not waiting.model or len(waiting.rows) >= BATCH:
            waiting.write()
            waiting = _Waiting(model)
        with _naming(line):
            waiting.rows.append(waiting.read(row))
        rows[model._meta.label] += 1
    waiting.write()
    return dict(rows)


@contextmanager
def _naming(line: str) -> Iterator[None]:
    """Raise CannotReadRow with the line's beginning where what is done with it fails."""
    try:
        yield
    except UNREADABLE as trouble:
        raise CannotReadRow(f"{line[:LONGEST_SHOWN].strip()}: {trouble!r}") from None


class _Waiting:
    """Rows of one model that wait to be written together."""

    def __init__(self, model: type[Model] | None = None) -> None:
        self.model = model
        self.rows: list[Any] = []
        # People who log in belong to groups: links between many and many are written after their rows, by Django.
        self.linked = model is not None and bool(model._meta.many_to_many)
        self.columns = _columns(model) if model else []

    def read(self, row: dict[str, Any]) -> Any:
        """Return a row as the database takes it. Raises one of UNREADABLE for one that is none."""
        if self.linked:
            (found,) = serializers.deserialize("python", [row])
            return found
        fields = row["fields"]
        if len(fields) != len(self.columns) - 1:
            raise ValueError(f"it has {len(fields)} fields instead of {len(self.columns) - 1}")
        return [kept(row["pk"] if name is None else fields[name]) for name, kept in self.columns]

    def write(self) -> None:
        """Write what waits."""
        if not self.rows or self.model is None:
            return
        if self.linked:
            self.model._default_manager.bulk_create([found.object for found in self.rows])
            for found in self.rows:
                for name, values in (found.m2m_data or {}).items():
                    getattr(found.object, name).set(values)
            return
        quote, names = connection.ops.quote_name, [field.column for field in self.model._meta.concrete_fields]
        places = ", ".join(["%s"] * len(names))
        into = f"{quote(self.model._meta.db_table)} ({', '.join(map(quote, names))})"
        with connection.cursor() as cursor:
            cursor.executemany(f"INSERT INTO {into} VALUES ({places})", self.rows)


def _columns(model: type[Model]) -> list[tuple[str | None, Callable[[Any], Any]]]:
    """Return each column's name in a backup (none for the key) and what makes its value one of the database's."""
    return [(None if field.primary_key else field.name, _kept(field)) for field in model._meta.concrete_fields]


def _kept(field: Any) -> Callable[[Any], Any]:
    to_python, to_database = field.to_python, field.get_db_prep_save
    return lambda value: to_database(to_python(value), connection)
