"""The same few people in all tests: keeper, helper, customer, stranger."""

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.db import connection
from django.db.backends.signals import connection_created
from django.test import Client

from breeder.base import backups
from breeder.base.environment import DATABASE_FILE
from breeder.base.roles import HELPER, KEEPER
from breeder.shipments.forecast_cache import PLACE_CACHE
from tests.build import PASSWORD as PASSWORD
from tests.build import user_in as user_in
from tests.environment import SERVER_WANTED

# A machine that is busy with other tests is no fault of the one that is being run.
hypothesis.settings.register_profile("busy machine", suppress_health_check=[hypothesis.HealthCheck.too_slow])
hypothesis.settings.load_profile("busy machine")

# A session on PostgreSQL leaves out what would do the very same again: the core and the house rules never touch
# a database; races, kills and the whole day bring databases of their own, and the plain session has tried them.
SAME_ON_A_SERVER = (
    "core", "house_rules", "crashing", "journeys", "racing/test_last_animals.py", "racing/test_double_click.py",
    "racing/test_one_order.py",
)  # fmt: skip
collect_ignore: list[str] = []
if os.environ.get(SERVER_WANTED) == "postgresql":
    collect_ignore = [str(Path(__file__).parent / name) for name in SAME_ON_A_SERVER]


def pytest_configure() -> None:
    """Hash quickly: what is tested here is never the strength of a hash. Once, since each change costs every test."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    # Tests look at whole boards, however busy the machine is; what an unfinished one shows has a test of its own.
    settings.BOARD_PATIENCE_S = settings.CHECK_PATIENCE_S = 60.0
    connection_created.connect(read_backwards)
    # A thread would look into rows that a test has not finished writing, and never will.
    backups.run_beside = lambda job: None


def read_backwards(connection: Any, **_: Any) -> None:
    """Let rows that nobody put in order come the other way round, since a server may give them in any.

    SQLite has a switch for it, which does not reach grouped rows; and Django forgets a model's own order for those.
    """
    if connection.vendor == "sqlite":
        connection.cursor().execute("PRAGMA reverse_unordered_selects = ON")
    if _groups_backwards not in connection.execute_wrappers:
        connection.execute_wrappers.append(_groups_backwards)


def _groups_backwards(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
    grouped = sql.startswith("SELECT") and " GROUP BY " in sql
    if grouped and not any(word in sql.rpartition(" GROUP BY ")[2] for word in (" ORDER BY ", " LIMIT ")):
        sql += " ORDER BY 1 DESC"
    return execute(sql, params, many, context)


SLOW = ("journeys", "crashing", "racing")
QUICK = ("test_every_action.py",)


@pytest.hookimpl(tryfirst=True)
def pytest_itemcollected(item: pytest.Item) -> None:
    """Mark what starts browsers or processes; one that says a thing of every action is quick."""
    path = item.path.relative_to(Path(__file__).parent)
    if path.parts[0] in SLOW and path.name not in QUICK:
        item.add_marker(pytest.mark.slow)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Refuse a test whose name holds a place in memory: two workers would know it by two names, and none would run."""
    for item in items:
        if " at 0x" in item.nodeid:
            raise pytest.UsageError(f"{item.nodeid}: give its parameters names that are alike in every process (ids=).")


@pytest.fixture(autouse=True)
def nothing_read_before() -> None:
    """A rolled back test leaves the numbers of its places to the next; what was read of them must not stay."""
    PLACE_CACHE.reads.clear()


@pytest.fixture
def keeper(db: None) -> User:
    return user_in(KEEPER, "keeper")


@pytest.fixture
def helper(db: None) -> User:
    return user_in(HELPER, "helper")


@pytest.fixture
def keeper_client(keeper: User) -> Client:
    client = Client()
    client.force_login(keeper)
    return client


@pytest.fixture
def helper_client(helper: User) -> Client:
    client = Client()
    client.force_login(helper)
    return client


@pytest.fixture(scope="session")
def empty_book(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Callable[[Path], None]:
    """Return what puts a database file with all tables and no rows into a folder, for a process of its own there.

    The tables of this session are copied, which is much quicker than migrating again. In a session on a server there is
    no file to copy; then the process migrates by itself.
    """
    if connection.vendor != "sqlite":
        return lambda folder: None
    file = tmp_path_factory.mktemp("empty") / DATABASE_FILE
    with django_db_blocker.unblock(), closing(sqlite3.connect(file)) as copy:
        connection.ensure_connection()
        connection.connection.backup(copy)
    return lambda folder: shutil.copy(file, folder / DATABASE_FILE) and None
