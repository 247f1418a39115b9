"""How many of a line must stay: raised freely, lowered only with a reason, and logged both ways."""

from collections.abc import Mapping
from typing import Any

from breeder.base.action_frame import action
from breeder.base.steps import log
from breeder.cultures import rules
from breeder.cultures.actions import line_lock
from breeder.cultures.count_entry import BadFact
from breeder.cultures.line_minimum import minimum_of
from breeder.cultures.queries.stock import stock_of
from breeder.species.models import Line

# How the log words a change of each.
GENETICS = {
    "genetics_bind": "the genetic number binding: {now} (was {was})",
    "inbreeding_limit": "an inbreeding of {now} at most (was {was})",
    "horizon_years": "looking {now} years ahead (was {was})",
    "effective_share": "{now} of the adults counting (was {was})",
}
KEPT = {"adults_kept": "adults", "young_kept": "young", "each_sex_kept": "of each sex"}
KEPT_CHANGES = {name: f"{{now}} {words} (was {{was}})" for name, words in KEPT.items()}


@action(lock=line_lock.lock_line)
def set_minimum(
    line: Line,
    *,
    adults_kept: int,
    young_kept: int,
    each_sex_kept: int,
    genetics: Mapping[str, Any] | None = None,
    reason: str = "",
    by: Any,
) -> tuple[str, ...]:
    """Set how many of a line must stay; returns what that breaks. Lowering any of them needs a reason.

    `genetics` sets what the genetic number is worked out from, and whether it binds; None leaves that as it is.
    """
    wanted = {"adults_kept": adults_kept, "young_kept": young_kept, "each_sex_kept": each_sex_kept}
    for name, number in wanted.items():
        line_lock.check_number(name, number, least=0)
    before, minimum = stock_of(line.pk), minimum_of(line).number
    was = {name: getattr(line, name) for name in wanted}
    changes = _set(line, wanted, KEPT_CHANGES) + _set(line, genetics or {}, GENETICS)
    lowered = _lowered(was, wanted) or _lowered_genetics(minimum, minimum_of(line).number)
    if lowered and not reason.strip():
        raise BadFact({"reason": _ask_why(lowered)})
    line.save(update_fields=[*wanted, *(genetics or {})])
    if changes:
        sentence = f"What must stay of {line} is now {', '.join(changes)}."
        log("set a minimum", str(line), sentence, by=by, reason=reason.strip(), facts={"was": was, "now": wanted})
    return tuple(rules.broken_by(before, stock_of(line.pk)))


def _lowered(was: Mapping[str, int], wanted: Mapping[str, int]) -> list[str]:
    return [f"{KEPT[name]} from {was[name]} to {wanted[name]}" for name in wanted if wanted[name] < was[name]]


def _lowered_genetics(was: int, now: int) -> list[str]:
    return [f"adults by the genetic number from {was} to {now}"] if now < was else []


def _set(line: Line, values: Mapping[str, Any], wording: Mapping[str, str]) -> list[str]:
    """Set these values on the line, not saved yet, and word what changes. Raises ValidationError for nonsense."""
    changed = [name for name in wording if name in values and values[name] != getattr(line, name)]
    changes = [wording[name].format(now=_words(values[name]), was=_words(getattr(line, name))) for name in changed]
    for name in changed:
        setattr(line, name, values[name])
    line.clean_fields(exclude=[field.name for field in Line._meta.fields if field.name not in changed])
    return changes


def _words(value: Any) -> str:
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def _ask_why(lowered: list[str]) -> str:
    return f"Lowering what must stay ({', '.join(lowered)}) needs a reason, which is kept in the log. Write why."
