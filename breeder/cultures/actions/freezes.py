"""A line is frozen, so that nothing leaves it by a slip of the finger; and the freeze ends, both with a reason."""

from datetime import date
from typing import Any

from django.utils import timezone

from breeder.base.action_frame import action
from breeder.base.steps import log
from breeder.cultures.actions import line_lock
from breeder.cultures.count_entry import BadFact
from breeder.species.models import Line


@action(lock=line_lock.lock_line)
def freeze_line(line: Line, because: str, *, by: Any) -> Line:
    """Freeze a line: promises, shows and culls of it then ask for its name; deaths and counts never do."""
    _set(line, _check_reason("because", because, "Freezing a line"), timezone.localdate())
    log("froze a line", str(line), f"{line} is frozen: nothing leaves it without its name.", by=by, reason=because)
    return line


@action(lock=line_lock.lock_line)
def end_freeze(line: Line, reason: str, *, by: Any) -> Line:
    """Let a frozen line give again, with the reason."""
    if not line.frozen_because:
        raise BadFact(f"{line} is not frozen, so there is nothing to end. Go back to the line.")
    reason = _check_reason("reason", reason, "Ending a freeze")
    sentence = f"{line} is no longer frozen ({line.frozen_because})."
    _set(line, "", None)
    log("ended a freeze", str(line), sentence, by=by, reason=reason)
    return line


def _check_reason(field: str, text: str, act: str) -> str:
    longest = Line._meta.get_field("frozen_because").max_length or 0
    if not text.strip():
        raise BadFact({field: f"{act} needs a reason, which is kept in the log. Write why."})
    if len(text) > longest:
        raise BadFact({field: f"The reason has {len(text)} letters. Say it in {longest} or fewer."})
    return text.strip()


def _set(line: Line, because: str, on: date | None) -> None:
    line.frozen_because, line.frozen_on = because, on
    line.save(update_fields=["frozen_because", "frozen_on"])
