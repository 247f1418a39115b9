"""Troubles of the machine, not of the program: what happened, what is safe, and what to do.

A full disk, a folder that may only be read, a book that is busy or damaged, a server that does not answer. Pages,
commands and the log all ask `trouble_of`, so that each of them is said in one way.
"""

import errno
import logging
import os
import shutil
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, InterfaceError

NEARLY_NOTHING = 1_000_000  # bytes free; a database file needs some beside it to write at all
SAFE = "Nothing of this was written; what was in the book before is safe."
SERVER_FULL, SERVER_READ_ONLY, SERVER_GONE = "53100", "25006", ("08", "57P")  # SQLSTATE


@dataclass(frozen=True)
class Trouble:
    """What happened, as a heading; what to do about it; what is safe; and where it is, which strangers do not read."""

    heading: str
    remedy: str
    safe: str = SAFE
    place: str = ""

    @property
    def sentence(self) -> str:
        where = f" ({self.place})" if self.place else ""
        return f"{self.heading}{where}. {self.safe} {self.remedy}"


BUSY = Trouble(
    "The book is busy",
    "Something long is being written, such as a restored backup. Go back, wait a minute, and send it again.",
)
GONE = Trouble(
    "The database server does not answer",
    "See that it runs and that BREEDER_DATABASE names it, then try again.",
)
DAMAGED = Trouble(
    "The database file is damaged",
    "Stop the book, keep a copy of its folder, and restore the last backup into a new one.",
    "Nothing more was written into it.",
)


def trouble_of(fault: BaseException) -> Trouble | None:
    """Return the trouble of the machine behind a fault; None where it is a fault of the program."""
    if isinstance(fault, DatabaseError | InterfaceError):
        return _of_database(fault)
    if isinstance(fault, OSError):
        return _of_system(fault)
    return trouble_of(fault.__cause__) if fault.__cause__ else None


def _of_database(fault: Exception) -> Trouble | None:
    said, state = str(fault), str(getattr(fault.__cause__, "sqlstate", None) or "")
    if state == SERVER_FULL:
        return _full("of the database server")
    if state == SERVER_READ_ONLY:
        return _read_only("of the database server")
    if state.startswith(SERVER_GONE) or "connection failed" in said or "server closed the connection" in said:
        return GONE
    if "database is locked" in said:
        return BUSY
    if "malformed" in said or "not a database" in said:
        return DAMAGED
    if "database or disk is full" in said:
        return _full(settings.DATA_DIR)
    if "readonly database" in said:
        return _read_only(settings.DATA_DIR)
    if "unable to open database file" in said or "disk I/O error" in said:
        return _of_folder(settings.DATA_DIR)
    return None


def _of_system(fault: OSError) -> Trouble | None:
    if fault.errno in (errno.ENOSPC, errno.EDQUOT):
        return _full(_place_of(fault))
    if fault.errno in (errno.EROFS, errno.EACCES, errno.EPERM, errno.ENOTDIR):
        return _read_only(_place_of(fault))
    return _bad_disk(_place_of(fault)) if fault.errno == errno.EIO else None


def _of_folder(folder: Path) -> Trouble:
    """Return what keeps a database file in this folder from being opened; SQLite itself does not say."""
    try:
        if shutil.disk_usage(folder).free < NEARLY_NOTHING:
            return _full(folder)
    except OSError:
        return _read_only(folder)
    return _bad_disk(folder) if os.access(folder, os.W_OK) else _read_only(folder)


def _place_of(fault: OSError) -> str:
    place = fault.filename2 or fault.filename
    if isinstance(place, str | os.PathLike):
        return str(place)
    # On a first run the settings themselves may be what finds no room.
    return str(settings.DATA_DIR) if settings.configured else ""


def _full(place: object) -> Trouble:
    return Trouble("The disk is full", "Free some space on it, then do it again.", place=str(place))


def _read_only(place: object) -> Trouble:
    remedy = "Let the user who runs the book write there, or move the book to where that is allowed, then do it again."
    return Trouble("The folder of the book cannot be written to", remedy, place=str(place))


def _bad_disk(place: object) -> Trouble:
    remedy = "Look after the disk first, and make a backup to another one."
    return Trouble("The disk does not answer as it should", remedy, "Nothing of this was written.", str(place))


class SayTrouble(logging.Filter):
    """Let the log say a trouble of the machine in its sentence, and keep the long trace for faults of the program."""

    def filter(self, record: logging.LogRecord) -> bool:
        fault = record.exc_info[1] if record.exc_info else None
        if fault and (trouble := trouble_of(fault)):
            record.msg, record.args, record.exc_info = f"{record.getMessage()}: {trouble.sentence}", None, None
        return True
