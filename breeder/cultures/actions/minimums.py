"""How many of a line must stay: raised freely, lowered only with a reason, and logged both ways."""

from typing import Any

from django.db import transaction
from django.urls import reverse

from breeder.cultures import queries, rules, steps
from breeder.cultures.actions import turn
from breeder.cultures.counting import BadFact
from breeder.house.steps import log
from breeder.pages import once
from breeder.taxa.models import Line

KEPT = {"adults_kept": "adults", "young_kept": "young", "each_sex_kept": "of each sex"}


def set_minimum(
    line_id: int,
    *,
    adults_kept: int,
    young_kept: int,
    each_sex_kept: int,
    reason: str = "",
    by: Any,
    token: str = "",
) -> tuple[str, ...]:
    """Set how many of a line must stay; returns what that breaks. Lowering any of them needs a reason."""
    wanted = {"adults_kept": adults_kept, "young_kept": young_kept, "each_sex_kept": each_sex_kept}
    for name, number in wanted.items():
        turn.whole(name, number, least=0)
    with transaction.atomic(durable=True):
        steps.take_turn([line_id])
        line = Line.objects.select_related("species").get(pk=line_id)
        before = queries.stock_of(line_id)
        was = {name: getattr(line, name) for name in wanted}
        lowered = [name for name in wanted if wanted[name] < was[name]]
        if lowered and not reason.strip():
            raise BadFact({"reason": _why(lowered, was, wanted)})
        for name, number in wanted.items():
            setattr(line, name, number)
        line.save(update_fields=list(wanted))
        changed = [name for name in wanted if wanted[name] != was[name]]
        if changed:
            said = ", ".join(f"{wanted[name]} {KEPT[name]} (was {was[name]})" for name in changed)
            sentence = f"What must stay of {line} is now {said}."
            log("set a minimum", str(line), sentence, by=by, reason=reason.strip(), facts={"was": was, "now": wanted})
        if token:
            once.spend(token, reverse("cultures:line", args=[line_id]))
        return tuple(rules.broken_by(before, queries.stock_of(line_id)))


def _why(lowered: list[str], was: dict[str, int], wanted: dict[str, int]) -> str:
    told = ", ".join(f"{KEPT[name]} from {was[name]} to {wanted[name]}" for name in lowered)
    return f"Lowering what must stay ({told}) needs a reason, which is kept in the log. Write why."
