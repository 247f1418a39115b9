"""A line is frozen, so that nothing leaves it by a slip of the finger; and the freeze ends, both with a reason."""

from datetime import date
from typing import Any

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from breeder.base import form_tokens
from breeder.base.steps import log
from breeder.cultures import steps
from breeder.cultures.count_entry import BadFact
from breeder.species.models import Line


def freeze_line(line_id: int, because: str, *, by: Any, token: str = "") -> Line:
    """Freeze a line: promises, shows and culls of it then ask for its name; deaths and counts never do."""
    with transaction.atomic(durable=True):
        line = _line_in_turn(line_id)
        _set(line, _said("because", because, "Freezing a line"), timezone.localdate())
        log("froze a line", str(line), f"{line} is frozen: nothing leaves it without its name.", by=by, reason=because)
        return _done(line, token)


def end_freeze(line_id: int, reason: str, *, by: Any, token: str = "") -> Line:
    """Let a frozen line give again, with the reason."""
    with transaction.atomic(durable=True):
        line = _line_in_turn(line_id)
        if not line.frozen_because:
            raise BadFact(f"{line} is not frozen, so there is nothing to end. Go back to the line.")
        why = _said("reason", reason, "Ending a freeze")
        was = line.frozen_because
        _set(line, "", None)
        log("ended a freeze", str(line), f"{line} is no longer frozen ({was}).", by=by, reason=why)
        return _done(line, token)


def _line_in_turn(line_id: int) -> Line:
    steps.lock_lines([line_id])
    line = Line.objects.select_related("species").filter(pk=line_id).first()
    if line is None:
        raise BadFact("This line is not in the book. Choose a line from the list.")
    return line


def _said(field: str, text: str, what: str) -> str:
    longest = Line._meta.get_field("frozen_because").max_length or 0
    if not text.strip():
        raise BadFact({field: f"{what} needs a reason, which is kept in the log. Write why."})
    if len(text) > longest:
        raise BadFact({field: f"The reason has {len(text)} letters. Say it in {longest} or fewer."})
    return text.strip()


def _set(line: Line, because: str, on: date | None) -> None:
    line.frozen_because, line.frozen_on = because, on
    line.save(update_fields=["frozen_because", "frozen_on"])


def _done(line: Line, token: str) -> Line:
    if token:
        form_tokens.spend(token, reverse("cultures:line", args=[line.pk]))
    return line
