"""The last backup made from the page: one file in the data folder, written beside the pages by one hand at a time."""

import logging
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.contrib.auth.models import User
from django.db import connections

from breeder.base.models import LogRow
from breeder.base.steps import log

try:
    import fcntl
except ImportError:  # Windows: there one process serves all pages
    fcntl = None  # type: ignore[assignment]

LOG = logging.getLogger(__name__)
MADE, FAILED = "backup made", "backup failed"
PATIENCE_S = 2.0  # as long as an answer waits for a small book
# Kinds of rows by the words of the pages; the others by the names of their models.
WORDS = {
    "auth.User": "people who log in",
    "auth.Group": "roles",
    "breeder.Belief": "what tubs are taken to hold",
    "breeder.Culture": "tubs",
    "breeder.OwnError": "how well you guess",
    "breeder.Parcel": "boxes",
    "breeder.ParcelItem": "packs in boxes",
    "breeder.Token": "forms sent",
}
LOOKS, LOOK_EVERY_S = 10, 0.05
_here = threading.Lock()


@dataclass(frozen=True)
class Last:
    """A backup on the disk: when it was made, its bytes, its photos, and the rows of each kind in words."""

    made_at: datetime
    size: int
    photos: int
    rows: list[tuple[str, int]]

    @property
    def file_name(self) -> str:
        return f"underbark-{self.made_at:%Y-%m-%d-%H%M}.zip"


def path() -> Path:
    """Return where the page's backup lies; the file may not be there."""
    return Path(settings.DATA_DIR) / "backups" / "book.zip"


def last() -> Last | None:
    """Return what the backup says of itself; None where there is none that can be read."""
    try:
        about = path().stat()
    except OSError:
        return None
    kept = _keeping().backup_summary(path())
    if kept is None:
        return None
    rows = [(_words_of(label), number) for label, number in kept.rows.items()]
    return Last(datetime.fromtimestamp(about.st_mtime, UTC), about.st_size, kept.photos, sorted(rows))


def _words_of(label: str) -> str:
    try:
        return WORDS.get(label) or str(apps.get_model(label)._meta.verbose_name_plural)
    except (LookupError, ValueError):  # a kind that another version knows
        return label


@dataclass(frozen=True)
class Outcome:
    """How the newest try went, in a sentence."""

    sentence: str
    failed: bool


def newest() -> Outcome | None:
    """Return how the newest try went; None before the first."""
    row = LogRow.objects.filter(did__in=(MADE, FAILED)).first()
    return Outcome(row.sentence, row.did == FAILED) if row else None


def is_being_made() -> bool:
    """Return whether one is being written at this moment, by whichever process."""
    if _here.locked() or not _turn().exists():
        return _here.locked()
    with _turn().open() as turn:
        return not _locked(turn.fileno(), alone=False)


def make_beside(by: User) -> None:
    """Have a backup written beside the pages; a small one is finished when this returns."""
    run_beside(lambda: make(by))


def run_beside(job: Callable[[], None]) -> None:
    """Run a job in a thread with connections of its own, and wait a moment for it."""

    def run() -> None:
        try:
            job()
        finally:
            connections.close_all()

    thread = threading.Thread(target=run, name="backup", daemon=True)
    thread.start()
    thread.join(PATIENCE_S)


def make(by: User) -> None:
    """Write a backup, unless another is being written, and log how it went. Never call it inside a transaction."""
    with _alone() as free:
        if not free:
            return
        try:
            kept = _keeping().write_backup(path())
        except Exception as trouble:
            LOG.exception("The backup could not be made.")
            why = getattr(trouble, "strerror", None) or trouble
            log(FAILED, "backup", f"The backup could not be made: {why}. The one before is untouched.", by=by)
        else:
            log(MADE, "backup", f"A backup was made: {kept.total} rows and {_photos(kept.photos)}.", by=by)


def _photos(number: int) -> str:
    return "1 photo" if number == 1 else f"{number} photos"


def _keeping() -> Any:
    """Return the module that writes and reads backups; it knows every room, so only the settings name it here."""
    return import_module(settings.BACKUPS)


@contextmanager
def _alone() -> Iterator[bool]:
    """Take the place of the one who writes, if it is free; the system frees it when a process dies."""
    if not _here.acquire(blocking=False):
        yield False
        return
    try:
        _turn().parent.mkdir(parents=True, exist_ok=True)
        with _turn().open("w") as turn:
            yield _locked_soon(turn.fileno())
    finally:
        _here.release()


def _turn() -> Path:
    return path().parent / "turn"


def _locked_soon(file: int) -> bool:
    for _ in range(LOOKS):  # a page that looks whether the place is taken holds it for a moment
        if _locked(file, alone=True):
            return True
        time.sleep(LOOK_EVERY_S)
    return False


def _locked(file: int, *, alone: bool) -> bool:
    try:
        if fcntl:
            fcntl.flock(file, (fcntl.LOCK_EX if alone else fcntl.LOCK_SH) | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
