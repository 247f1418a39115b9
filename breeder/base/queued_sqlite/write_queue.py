"""A line of those who wait to write, kept by locks on a file beside the database.

SQLite lets whoever happens to look at the right moment write next: among many writers one can look in vain until its
patience ends. Here everybody takes a number, one higher than the last, locks the byte of that number, and waits until
no lower byte is locked. The system drops the locks of a process that dies, so nobody waits for the dead. Where the
system has no such locks (other than Linux) nobody waits here, and SQLite's own patience is all there is.
"""

import contextlib
import os
import struct
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass

try:
    import fcntl

    LOCKS = sys.maxsize > 2**32 and hasattr(fcntl, "F_OFD_SETLK")
except ImportError:  # Windows
    LOCKS = False

BESIDE = "-line"
PATIENCE_S = 60.0  # longer than any action of ours; then SQLite's own patience follows
LOOK_EVERY_S = 0.002  # a short transaction takes some 5 ms, most of it for the disk
COUNTER_BYTES = 8
FIRST_NUMBER = 1024  # where the bytes of the numbers begin, after the counter
FLOCK = struct.Struct("hhqqi4x")  # type, whence, start, length, process (always 0); 64-bit Linux


@dataclass(frozen=True)
class Place:
    """A place in the line; it is held as long as its file is open."""

    file: int

    def leave(self) -> None:
        """Let the next one go."""
        os.close(self.file)


def wait_in(path: str) -> Place | None:
    """Take a number and wait for its turn; None where there is no line to stand in."""
    if not LOCKS:
        return None
    try:
        file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    except OSError:  # a folder that may only be read: there is nothing to write, and so no line
        return None
    try:
        _wait_for_lower(file, _number(file))
    except OSError:  # a file system without locks
        os.close(file)
        return None
    except BaseException:
        os.close(file)
        raise
    return Place(file)


def _number(file: int) -> int:
    """Take the next number and lock its byte before anybody can take a higher one."""
    with _alone(file):
        number = int.from_bytes(os.pread(file, COUNTER_BYTES, 0), "big") + 1
        os.pwrite(file, number.to_bytes(COUNTER_BYTES, "big"), 0)
        _lock(file, fcntl.F_OFD_SETLKW, fcntl.F_WRLCK, FIRST_NUMBER + number, 1)
    return number


@contextlib.contextmanager
def _alone(file: int) -> Iterator[None]:
    _lock(file, fcntl.F_OFD_SETLKW, fcntl.F_WRLCK, 0, COUNTER_BYTES)
    yield
    _lock(file, fcntl.F_OFD_SETLK, fcntl.F_UNLCK, 0, COUNTER_BYTES)


def _wait_for_lower(file: int, number: int) -> None:
    """Wait until no lower number is held. Not by a lock that waits for ever: a line that stands still must be told."""
    until = time.monotonic() + PATIENCE_S
    while _is_held(file, number) and time.monotonic() < until:
        time.sleep(LOOK_EVERY_S)


def _is_held(file: int, number: int) -> bool:
    asked = _lock(file, fcntl.F_OFD_GETLK, fcntl.F_WRLCK, FIRST_NUMBER, number)
    return bool(FLOCK.unpack(asked)[0] != fcntl.F_UNLCK)


def _lock(file: int, what: int, kind: int, start: int, length: int) -> bytes:
    return fcntl.fcntl(file, what, FLOCK.pack(kind, os.SEEK_SET, start, length, 0))
