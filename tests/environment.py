"""Loaded before Django (see pyproject): every test session has a data folder of its own, and a server if it wants one.

With BREEDER_TEST_DATABASE=postgresql the session runs on PostgreSQL: one server, a database for each worker.
"""

import gc
import os
import shutil
import sys
import tempfile

SERVER_WANTED = "BREEDER_TEST_DATABASE"
FOLDER = tempfile.mkdtemp(prefix="breeder-tests-")
os.environ["BREEDER_DATA"] = FOLDER
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Some twenty processes are started by these tests; compiled once, not in each of them.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
# playwright's sync driver runs an event loop in the test's own thread.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"


def _choose_database() -> None:
    """Set the session's database before the settings are read; workers inherit the address of the one server."""
    wanted = os.environ.get(SERVER_WANTED, "sqlite")
    if wanted not in ("sqlite", "postgresql"):
        raise SystemExit(f"{SERVER_WANTED} is '{wanted}'. Set it to sqlite or postgresql, or leave it out.")
    if wanted == "postgresql" and not os.environ.get("BREEDER_DATABASE"):
        from tests.servers import postgresql

        # These rows are thrown away, so nothing waits for the disk.
        os.environ["BREEDER_DATABASE"] = postgresql(synchronous_commit="off")


_choose_database()

# What is loaded and collected stays to the end; looking through it for rubbish took a third of the time of collecting.
gc.disable()


def pytest_collection_finish() -> None:
    gc.freeze()
    gc.enable()


def pytest_unconfigure() -> None:
    shutil.rmtree(FOLDER, ignore_errors=True)
