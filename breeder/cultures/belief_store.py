"""What the book believes, kept up to date with the ledger: read the entries, replay them, store the rows."""

from collections.abc import Iterable
from typing import Any

from django.db.models import F, Q

from breeder.core.counting.quantiles import whole_above
from breeder.core.stock.events import Ageing
from breeder.core.stock.serialize import as_json
from breeder.cultures.models import Belief, Culture, Entry, Stage
from breeder.cultures.tub_ledger import COUNTING_KINDS, Held, Ledger, ageing_of, order_of, void_ids
from breeder.species.models import Line

# Raised whenever the same entries give other numbers than before; rows of an older one are worked out anew.
ARITHMETIC = 2
BEFORE = "before"  # in a row worked out anew: what it said before, until the keeper was told
CUPS_REMEMBERED = 60  # takings kept with a tub's cups: more than any rest time asks for


def bring_up_to_date(culture_ids: Iterable[int]) -> None:
    """Replay these tubs, and those that they were tipped into, and keep what the book believes of each."""
    ledger, tubs = load(set(culture_ids))
    for culture_id in sorted(tubs):
        if tubs[culture_id].line.sold_by == Line.SoldBy.CUP:
            store_cups(tubs[culture_id])
        for stage in stages_of(ledger, culture_id):
            store(tubs[culture_id], stage, ledger.held(culture_id, stage), ageing_of(tubs[culture_id].line))


def load(
    culture_ids: set[int], *, as_stored: bool = False, and_also: Iterable[Entry] = ()
) -> tuple[Ledger, dict[int, Culture]]:
    """Read the ledger of these tubs and of all that animals were ever tipped between.

    With `as_stored` each tub ages by the constants that its stored belief was reckoned with, since a species' adult
    life may have been edited after that. `and_also` are entries that are not written yet.
    """
    needed = _joined(culture_ids)
    tubs = {tub.pk: tub for tub in Culture.objects.filter(pk__in=needed).select_related("line__species")}
    kinds = (*COUNTING_KINDS, Entry.Kind.CORRECT)
    entries = Entry.objects.filter(culture_id__in=needed, kind__in=kinds)
    ageing = {pk: ageing_of(tub.line) for pk, tub in tubs.items()}
    if as_stored:
        rows = Belief.objects.filter(culture_id__in=needed).exclude(stage=Stage.CUPS).order_by("stage")
        ageing |= {row.culture_id: Ageing(**row.used["ageing"]) for row in rows}
    return Ledger([*entries, *and_also], ageing), tubs


def stages_of(ledger: Ledger, culture_id: int) -> list[str]:
    """Return the stages of which a tub has entries or a belief (a corrected count may leave the belief alone)."""
    kept = set(Belief.objects.filter(culture_id=culture_id).exclude(stage=Stage.CUPS).values_list("stage", flat=True))
    told = {stage for stage in (Stage.ADULTS.value, Stage.YOUNG.value) if ledger.entries_of(culture_id, stage)}
    return sorted(kept | told)


def store(tub: Culture, stage: str, held: Held, ageing: Ageing) -> None:
    """Keep what a tub and stage holds; without any standing entry there is nothing to keep."""
    if held.belief is None:
        Belief.objects.filter(culture=tub, stage=stage).delete()
        return
    row = Belief.objects.filter(culture=tub, stage=stage).first() or Belief(culture=tub, stage=stage)
    unexplained = {name: row.used[name] for name in (BEFORE,) if name in row.used}
    for name, value in columns_of(held, ageing).items():
        setattr(row, name, value)
    row.used |= unexplained
    row.save()


def columns_of(held: Held, ageing: Ageing) -> dict[str, Any]:
    """Return the columns of a stored belief; `used` holds all of it, with the constants that it was reckoned with."""
    belief = held.belief
    if belief is None:
        raise ValueError("Without an entry there is no belief to store.")
    return {
        "middle": belief.middle,
        "log_sd": belief.log_sd,
        "shared_sd": belief.shared_sd,
        "cap": belief.cap,
        "moved": belief.moved,
        "taken_since": whole_above(max(0.0, belief.taken)),
        "males": held.sexes.males,
        "females": held.sexes.females,
        "counted_at": belief.counted_on,
        "method": held.last_count.method if held.last_count else "",
        "used": {"belief": as_json(belief), "ageing": vars(ageing), "arithmetic": ARITHMETIC},
    }


def store_cups(tub: Culture) -> None:
    """Keep when a tub last gave cups, and when somebody last looked into it."""
    columns = cup_columns(tub)
    if columns is None:
        Belief.objects.filter(culture=tub, stage=Stage.CUPS).delete()
    else:
        Belief.objects.update_or_create(culture=tub, stage=Stage.CUPS, defaults=columns)


def cup_columns(tub: Culture) -> dict[str, Any] | None:
    """Return the columns of a tub's cups; None for a tub that never gave one and into which nobody looked."""
    kinds = (Entry.Kind.CHANGE, Entry.Kind.LOOKED, Entry.Kind.CORRECT)
    entries = list(Entry.objects.filter(culture=tub, kind__in=kinds, stage__in=("", Stage.CUPS)))
    void = void_ids(entry for entry in entries if entry.kind == Entry.Kind.CORRECT)
    standing = sorted((entry for entry in entries if entry.pk not in void), key=order_of)
    looks = [entry.happened_at for entry in standing if entry.kind == Entry.Kind.LOOKED]
    taken = [entry for entry in standing if entry.kind == Entry.Kind.CHANGE and (entry.number or 0) < 0]
    if not looks and not taken:
        return None
    # The moment, not its day: which day that was, only the reader's time zone tells.
    moments = [[entry.happened_at.isoformat(), -(entry.number or 0)] for entry in taken[-CUPS_REMEMBERED:]]
    return {
        "middle": 0.0,
        "log_sd": 0.0,
        "shared_sd": 0.0,
        "cap": None,
        "moved": 0,
        "taken_since": sum(number for _, number in moments),
        "males": None,
        "females": None,
        "counted_at": max(looks, default=None),
        "method": "",
        "used": {"taken": moments},
    }


def _joined(start: set[int]) -> set[int]:
    """Return these tubs and all that were ever tipped into or out of them, directly or through others.

    The whole of them is kept up to date together, so that all rest on the same constants. They are of one line, whose
    lock the caller holds: what was tipped into a mixed tub of another line is kept there as the number it was then.
    """
    found, fresh = set(start), set(start)
    tips = Entry.objects.filter(kind=Entry.Kind.ABOUT, culture__line=F("other_side__culture__line"))
    while fresh:
        ends = tips.filter(Q(culture_id__in=fresh) | Q(other_side__culture_id__in=fresh))
        fresh = {tub for pair in ends.values_list("culture_id", "other_side__culture_id") for tub in pair} - found
        found |= fresh
    return found
