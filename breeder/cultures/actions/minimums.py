"""How many of a line must stay: raised freely, lowered only with a reason, and logged both ways."""

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.urls import reverse

from breeder.base import form_tokens
from breeder.base.steps import log
from breeder.cultures import rules, steps
from breeder.cultures.actions import line_lock
from breeder.cultures.count_entry import BadFact
from breeder.cultures.line_minimum import minimum_of
from breeder.cultures.queries.stock import stock_of
from breeder.species.models import Line

# What is said of each in the log.
GENETICS = {
    "genetics_bind": "the genetic number binding: {now} (was {was})",
    "inbreeding_limit": "an inbreeding of {now} at most (was {was})",
    "horizon_years": "looking {now} years ahead (was {was})",
    "effective_share": "{now} of the adults counting (was {was})",
}
KEPT = {"adults_kept": "adults", "young_kept": "young", "each_sex_kept": "of each sex"}
KEPT_SAID = {name: f"{{now}} {words} (was {{was}})" for name, words in KEPT.items()}


def set_minimum(
    line_id: int,
    *,
    adults_kept: int,
    young_kept: int,
    each_sex_kept: int,
    genetics: Mapping[str, Any] | None = None,
    reason: str = "",
    by: Any,
    token: str = "",
) -> tuple[str, ...]:
    """Set how many of a line must stay; returns what that breaks. Lowering any of them needs a reason.

    `genetics` sets what the genetic number is worked out from, and whether it binds; None leaves that as it is.
    """
    wanted = {"adults_kept": adults_kept, "young_kept": young_kept, "each_sex_kept": each_sex_kept}
    for name, number in wanted.items():
        line_lock.check_number(name, number, least=0)
    with transaction.atomic(durable=True):
        steps.lock_lines([line_id])
        line = Line.objects.select_related("species").get(pk=line_id)
        before = stock_of(line_id)
        was = {name: getattr(line, name) for name in wanted}
        bound = minimum_of(line).number
        told = _set(line, wanted, KEPT_SAID) + _set(line, genetics or {}, GENETICS)
        lowered = [f"{KEPT[name]} from {was[name]} to {wanted[name]}" for name in wanted if wanted[name] < was[name]]
        if not lowered and (binds := minimum_of(line).number) < bound:
            lowered = [f"adults by the genetic number from {bound} to {binds}"]
        if lowered and not reason.strip():
            raise BadFact({"reason": _why(lowered)})
        line.save(update_fields=[*wanted, *(genetics or {})])
        if told:
            sentence = f"What must stay of {line} is now {', '.join(told)}."
            log("set a minimum", str(line), sentence, by=by, reason=reason.strip(), facts={"was": was, "now": wanted})
        if token:
            form_tokens.spend(token, reverse("cultures:line", args=[line_id]))
        return tuple(rules.broken_by(before, stock_of(line_id)))


def _set(line: Line, values: Mapping[str, Any], called: Mapping[str, str]) -> list[str]:
    """Set these values on the line, not saved yet, and say what changes. Raises ValidationError for nonsense."""
    changed = [name for name in called if name in values and values[name] != getattr(line, name)]
    told = [called[name].format(now=_words(values[name]), was=_words(getattr(line, name))) for name in changed]
    for name in changed:
        setattr(line, name, values[name])
    line.clean_fields(exclude=[field.name for field in Line._meta.fields if field.name not in changed])
    return told


def _words(value: Any) -> str:
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def _why(lowered: list[str]) -> str:
    return f"Lowering what must stay ({', '.join(lowered)}) needs a reason, which is kept in the log. Write why."
