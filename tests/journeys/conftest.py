"""The demo in a folder of its own, its site in a process of its own, and a real browser."""

import fcntl
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or ""
HOME_HOST = "book.home"  # plain http by a name of the home network: to a browser that is no secure page
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", f"--host-resolver-rules=MAP {HOME_HOST} 127.0.0.1",
)  # fmt: skip
STARTS_WITHIN_S = 60


@dataclass(frozen=True)
class Demo:
    """A loaded demo: what it printed and where it lives."""

    printed: str
    folder: Path


def environment(folder: Path) -> dict[str, str]:
    own = {key: value for key, value in os.environ.items() if not key.startswith("BREEDER_")}
    return own | {"BREEDER_DATA": str(folder), "PYTHONUNBUFFERED": "1"}


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    """Return a copy of the demo of this process's own; whoever comes first loads it, once for all."""
    own = tmp_path_factory.getbasetemp()
    shared = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    loaded, printed = shared / "demo", shared / "demo.txt"
    with (shared / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not printed.exists():
            command = [sys.executable, "manage.py", "demo", "--once"]
            surroundings = environment(loaded)
            done = subprocess.run(command, cwd=settings.BASE_DIR, env=surroundings, capture_output=True, text=True)
            assert done.returncode == 0, done.stderr
            printed.write_text(done.stdout)
    return Demo(printed.read_text(), Path(shutil.copytree(loaded, own / "own demo")))


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="session")
def site(demo: Demo) -> Iterator[str]:
    """Serve the demo as the README does."""
    port = free_port()
    command = [sys.executable, "manage.py", "demo", "--port", str(port)]
    log = (demo.folder / "serve.log").open("w")
    served = subprocess.Popen(command, cwd=settings.BASE_DIR, env=environment(demo.folder), stdout=log, stderr=log)
    address = f"http://127.0.0.1:{port}"
    until = time.monotonic() + STARTS_WITHIN_S
    while True:
        try:
            urllib.request.urlopen(f"{address}/login/", timeout=2).close()
            break
        except OSError:
            assert served.poll() is None, (demo.folder / "serve.log").read_text()
            assert time.monotonic() < until, "the site did not start"
            time.sleep(0.2)
    yield address
    served.terminate()
    served.wait(timeout=10)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Start Debian's chromium; without one these tests say so and are left out."""
    if not CHROMIUM:
        pytest.skip("no chromium here; install it (apt-get install chromium) to try the pages in a real browser")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield started
        started.close()
