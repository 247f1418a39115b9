"""`manage.py reckon SUBJECT [FILE]`: call the pure core with a JSON file; no database is touched."""

import json
import sys
from argparse import ArgumentParser
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from breeder.core.jsonio.duplicate_keys import load
from breeder.core.jsonio.errors import BadInput, DocumentFault

BAD_INPUT = 2

# Subject -> the pure function that answers it; imported only when asked, so that one subject starts quickly.
SUBJECTS = {
    "heat": "breeder.core.thermal.reckon:heat",
    "check": "breeder.core.thermal.reckon:check",
    "fit": "breeder.core.thermal.reckon_fit:fit",
    "count": "breeder.core.counting.reckon:count",
    "reserve": "breeder.core.reserve.reckon:reserve",
    "book": "breeder.core.reserve.reckon:book",
}
NOT_YET = ("cross",)


class Command(BaseCommand):
    help = "Answer a question from a JSON file (or standard input) with the same functions that the site uses."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("subject", help=", ".join(SUBJECTS))
        parser.add_argument("file", nargs="?", default="-", help="a JSON file; - or nothing: standard input")

    def handle(self, *args: Any, subject: str, file: str, **options: Any) -> None:
        try:
            answer = self.answer(subject, file)
        except BadInput as bad:
            for fault in bad.faults:
                self.stderr.write(str(fault))
            sys.exit(BAD_INPUT)
        self.stdout.write(answer_json(answer, getattr(self.stdout, "encoding", None) or "utf-8"))

    def answer(self, subject: str, file: str) -> dict[str, Any]:
        """Return the subject's answer. Raises BadInput with every fault of the document."""
        if subject not in SUBJECTS:
            known = ", ".join(SUBJECTS)
            state = "not yet answered" if subject in NOT_YET else "not a subject"
            raise BadInput([DocumentFault("subject", f"'{subject}' is {state}. Ask one of: {known}.")])
        return solver(subject)(load(read_document(file)))


def solver(subject: str) -> Callable[[dict[str, Any]], dict[str, Any]]:
    """Return the pure function behind a subject."""
    module, name = SUBJECTS[subject].split(":")
    return getattr(import_module(module), name)


def answer_json(answer: dict[str, Any], encoding: str) -> str:
    """Return an answer as JSON; characters that the output cannot show are escaped, which is valid (RFC 8259, 7)."""
    text = json.dumps(answer, ensure_ascii=False, allow_nan=False, indent=2)
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return json.dumps(answer, allow_nan=False, indent=2)
    return text


def read_document(file: str) -> str:
    """Return the document's text. Raises BadInput when the file cannot be read as UTF-8."""
    try:
        raw = sys.stdin.buffer.read() if file == "-" else Path(file).read_bytes()
        return raw.decode("utf-8-sig")
    except OSError as trouble:
        raise BadInput(
            [DocumentFault("file", f"'{file}' cannot be read: {trouble.strerror}. Check the name.")]
        ) from None
    except UnicodeDecodeError:
        raise BadInput([DocumentFault("file", f"'{file}' is not UTF-8 text. Save it as UTF-8 JSON.")]) from None
