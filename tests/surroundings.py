"""Loaded before Django (see pyproject): every test session has a data folder of its own."""

import os
import shutil
import sys
import tempfile

FOLDER = tempfile.mkdtemp(prefix="breeder-tests-")
os.environ["BREEDER_DATA"] = FOLDER
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Some twenty processes are started by these tests; compiled once, not in each of them.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
# playwright's sync driver runs an event loop in the test's own thread.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"


def pytest_unconfigure() -> None:
    shutil.rmtree(FOLDER, ignore_errors=True)
