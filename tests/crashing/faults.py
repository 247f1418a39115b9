"""Fault points: every place at which a program writes has a name and a number, and the process dies at one of them.

A death in the middle of a file leaves half of what was to be written; one at a statement comes before it. The name is
sent through a pipe just before, so that a test knows which write was hit.
"""

import contextlib
import multiprocessing
import os
import re
import signal
import zipfile
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from django.db import connection, connections, transaction

WRITE = re.compile(
    r'^\s*(INSERT INTO|UPDATE|DELETE FROM|CREATE|ALTER|DROP)\s+(?:\w+\s+)*?(?:IF (?:NOT )?EXISTS\s+)?"?(breeder_\w+|'
    r"auth_\w+|django_\w+|entry_is_kept\w*)",
    re.IGNORECASE,
)
COMMIT, COMMITTED = "COMMIT", "after COMMIT"
PATIENCE_S = 120
MOST_KILLS = 80
FORK = multiprocessing.get_context("fork")


class Points:
    """Counts the writes of this process and dies at one of them: by its number, or the first of a name."""

    def __init__(self, number: int, name: str, tell: Connection) -> None:
        self.die_at, self.die_at_name, self.tell, self.seen = number, name, tell, 0

    def reached(self, name: str, half: Callable[[], Any] = lambda: None) -> None:
        self.seen += 1
        if self.seen == self.die_at or name == self.die_at_name:
            half()
            self.tell.send((self.seen, name))
            os.kill(os.getpid(), signal.SIGKILL)

    def watch(self) -> None:
        """Count from now on every statement that writes, every commit and every write to a file of a backup."""
        connection.execute_wrappers.append(self._statement)
        commit = connection._commit

        def committing() -> None:
            self.reached(COMMIT)
            commit()
            self.reached(COMMITTED)

        connection._commit = committing
        self._watch_files()

    def _statement(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        if found := WRITE.match(sql):
            self.reached(f"{found[1].split()[0].upper()} {found[2]}")
        return execute(sql, params, many, context)

    def _watch_files(self) -> None:
        pack, replace, write_bytes = zipfile._ZipWriteFile.write, Path.replace, Path.write_bytes
        fsync = os.fsync

        def packing(part: Any, data: bytes) -> int:
            def half() -> None:
                pack(part, data[: len(data) // 2])
                part._fileobj.flush()

            self.reached(f"pack {part._zinfo.filename}", half)
            return int(pack(part, data))

        def replacing(old: Path, new: Any) -> Path:
            self.reached(f"replace {Path(new).name}")
            return replace(old, new)

        def writing(path: Path, data: bytes) -> int:
            self.reached(f"write {path.name}", lambda: write_bytes(path, data[: len(data) // 2]))
            return write_bytes(path, data)

        def laying_down(handle: int) -> None:
            self.reached("fsync")
            fsync(handle)

        zipfile._ZipWriteFile.write, Path.replace, Path.write_bytes = packing, replacing, writing
        os.fsync = laying_down


def without_transactions() -> None:
    """Take the transactions out of this process: the control."""
    transaction.atomic = lambda *args, **kwargs: contextlib.nullcontext()
    connection.features.has_select_for_update = False  # it would ask for the transaction


def died(act: Callable[[], Any], *, at: int = 0, name: str = "", prepare: Callable[[], None] = lambda: None) -> Any:
    """Do `act` in a child that dies at a fault point; return that point's number and name, None if it came through."""
    connections.close_all()
    here, there = FORK.Pipe(duplex=False)

    def child() -> None:
        prepare()
        Points(at, name, there).watch()
        act()

    process = FORK.Process(target=child)
    process.start()
    process.join(PATIENCE_S)
    there.close()
    if process.exitcode == 0:
        return None
    assert process.exitcode == -signal.SIGKILL, f"the child ended with {process.exitcode}"
    return here.recv()  # an end without a name would be no proof, and is an EOFError here


def until_through(act: Callable[[], Any], look: Callable[[], Any]) -> list[Any]:
    """Begin an act again and again, dying a write later each time, until it comes through; return what was left."""
    at, kills = 1, []
    while hit := died(act, at=at):
        kills.append([hit[1], look()])
        assert len(kills) < MOST_KILLS, "this act has no end"
        at += 1
    return kills


def spread(last: int, many: int, *, ends: int = 6) -> Iterator[int]:
    """Yield some of the numbers from 1 to `last`: the first, the last of them, and a few between."""
    chosen = {1, *range(max(1, last - ends + 1), last + 1), *(1 + last * part // many for part in range(1, many))}
    yield from sorted(chosen)
