"""Entries and beliefs as sentences: what was recorded, what the book relies on, and how that was worked out."""

from dataclasses import dataclass
from datetime import date, datetime
from math import exp

from django.utils import timezone

from breeder.base.dates import day_said
from breeder.core.counting.defaults import PAIRS_NEEDED
from breeder.core.counting.methods.count import Count, working_text
from breeder.core.counting.quantiles import months_between, whole_below
from breeder.core.stock.belief import CountUpdate, StockBelief, aged, is_stale, lower
from breeder.core.stock.events import YOUNG, Ageing
from breeder.cultures import count_entry, young_ageing
from breeder.cultures.eye_bias import Own
from breeder.cultures.models import Entry
from breeder.cultures.phrases import animals
from breeder.cultures.tub_ledger import Held, ageing_of, in_local_days
from breeder.species.models import Line

DID = {
    Entry.Reason.PACKED: "packed",
    Entry.Reason.RECEIVED: "received",
    Entry.Reason.CULLED: "culled",
    Entry.Reason.DIED: "died",
    Entry.Reason.RETURNED: "came back",
    Entry.Reason.MOVED: "moved",
}
# What an entry is called, where that is not the name of its kind.
CALLED = {
    Entry.Kind.ABOUT: "tipping",
    Entry.Kind.LOOKED: "look",
    Entry.Kind.STATE: "setting",
    Entry.Kind.CORRECT: "correction",
}
HALVES = {0.5: "half", 1.0: "all"}


def sentence_of(entry: Entry, other_number: int | None = None) -> str:
    """Return one entry as a sentence; `other_number` is the tub at the other side of a move."""
    told = _TELL.get(entry.kind, lambda entry, other: str(entry))(entry, other_number)
    return f"{told} {entry.note}".strip() if entry.note else told


def counted_words(entry: Entry) -> str:
    """Return what a count found: '50–100 young', '3.4.10 (17) adults', 'about 135 young, portions'."""
    if entry.method == "eye" or entry.method in count_entry.ONE_BY_ONE:
        return f"{count_entry.said(entry.method, entry.given)} {entry.stage}"
    return f"about {entry.estimate:.0f} {entry.stage}, {count_entry.NAMES[entry.method]}"


def short_of(entry: Entry) -> str:
    """Return a look or a count in a few words, for the line that offers to undo it."""
    if entry.kind != Entry.Kind.COUNT:
        return sentence_of(entry)
    return f"{counted_words(entry)}."


def _count(entry: Entry, other: int | None) -> str:
    said, how = count_entry.said(entry.method, entry.given), count_entry.NAMES[entry.method]
    again = count_entry.counted_again(entry)
    estimate, bound = (entry.estimate, entry.lower) if again is None else (again.estimate, again.lower)
    found = f"about {estimate or 0.0:.0f}, at least {whole_below(bound or 0.0)} by this count alone"
    if entry.method == "eye" or entry.method in count_entry.ONE_BY_ONE:
        return f"Counted {said} {entry.stage}, {how}: {found}."
    return f"Counted {entry.stage}, {how}{f' ({said})' if said else ''}: {found}."


def _change(entry: Entry, other: int | None) -> str:
    number = entry.number or 0
    told = f"{animals(abs(number), entry.stage)}{_sexes(entry)} {DID[Entry.Reason(entry.reason)]}".capitalize()
    if entry.reason != Entry.Reason.MOVED:
        return f"{told}."
    return f"{told} {_to_or_from(number, other)}."


def _about(entry: Entry, other: int | None) -> str:
    share = entry.given.get("share", entry.given.get("tipped"))
    part = HALVES.get(share, f"{share:.0%}" if share else "some")
    out = entry.other_side_id is None
    way = _to_or_from(-1 if out else 1, other)
    return f"{part} of the {entry.stage} tipped {way}: about {abs(entry.number or 0)}.".capitalize()


def _to_or_from(number: int, other: int | None) -> str:
    if other is None:
        return "out" if number < 0 else "in"
    return f"over to tub {other}" if number < 0 else f"in from tub {other}"


def _sexes(entry: Entry) -> str:
    if not entry.males and not entry.females:
        return ""
    return f" ({animals(abs(entry.males or 0), 'males')}, {animals(abs(entry.females or 0), 'females')})"


def _looked(entry: Entry, other: int | None) -> str:
    flags = entry.given.get("seen", ())
    seen = [flag for flag in flags if flag != "well"]
    return f"Looked: {', '.join(seen)}." if seen else "Looked, all well." if flags else "Looked."


def _care(entry: Entry, other: int | None) -> str:
    return f"{', '.join(entry.given.get('did', ()))}.".capitalize()


def _state(entry: Entry, other: int | None) -> str:
    now = entry.given.get("set", {})
    if "closed_on" in now:
        return "Tub closed."
    if "crashed_on" in now:
        return _as_sentence(now["not_for_sale"]) if now["crashed_on"] else "No longer marked as crashed."
    if "not_for_sale" in now:
        return _as_sentence(f"Not for sale: {now['not_for_sale']}") if now["not_for_sale"] else "For sale again."
    if "purpose" in now:
        until = now.get("quarantine_until")
        return f"Purpose: {now['purpose']}{f' until {date.fromisoformat(until):%-d %B %Y}' if until else ''}."
    if "quarantine_until" in now:
        until = now["quarantine_until"]
        return f"Quarantine until {date.fromisoformat(until):%-d %B %Y}." if until else "Quarantine ended."
    return "Set."


def _as_sentence(words: str) -> str:
    """Return the keeper's words as a sentence: only the first letter is made large, and one full stop ends it."""
    return f"{words[:1].upper()}{words[1:].rstrip('.')}."


def _correct(entry: Entry, other: int | None) -> str:
    wrong = entry.corrects
    if wrong is None:
        return "Correction."
    at = timezone.localtime(wrong.happened_at)
    return f"Takes back the {CALLED.get(wrong.kind, wrong.kind)} of {day_said(at)}, {at:%H:%M}."


_TELL = {
    Entry.Kind.COUNT: _count,
    Entry.Kind.CHANGE: _change,
    Entry.Kind.ABOUT: _about,
    Entry.Kind.LOOKED: _looked,
    Entry.Kind.CARE: _care,
    Entry.Kind.STATE: _state,
    Entry.Kind.CORRECT: _correct,
}


@dataclass(frozen=True)
class Working:
    """What the book relies on in one tub and stage, and how that was worked out, step by step."""

    stage: str
    lower: int
    likely: int
    confidence: float
    last_said: str
    counted_at: datetime | None
    steps: tuple[str, ...]


def working_of(held: Held, stage: str, on: date, line: Line) -> Working | None:
    """Return the working of what a tub of a line holds on a day; None where nothing was ever recorded."""
    if held.belief is None:
        return None
    belief, ageing, confidence = in_local_days(held.belief), ageing_of(line), float(line.confidence)
    at_least = lower(belief, on, confidence, ageing, stage)
    now = aged(belief, on, ageing, stage)
    last = held.last_count
    return Working(
        stage=stage,
        lower=at_least,
        likely=whole_below(now.expected),
        confidence=confidence,
        last_said=counted_words(last) if last else "",
        counted_at=last.happened_at if last else None,
        steps=(
            *_count_steps(last),
            *_young_steps(stage, belief, on, line),
            *_belief_steps(belief, now, at_least, confidence, on, ageing),
        ),
    )


def count_of(entry: Entry) -> Count:
    """Return the count that an entry recorded, worked out again from what was typed."""
    return count_entry.counted(entry.method, entry.given, shared_sd=entry.shared_sd)


def _count_steps(last: Entry | None) -> tuple[str, ...]:
    if last is None:
        return ("Never counted: what was moved in is known exactly, and nothing else is relied on.",)
    when = f"{timezone.localtime(last.happened_at):%-d %B %Y}"
    return (f"Counted on {when}, {count_entry.NAMES.get(last.method, last.method)}.", *working_text(count_of(last)))


def _young_steps(stage: str, belief: StockBelief, on: date, line: Line) -> list[str]:
    """Return which share of the young counted is still young, once a day has passed."""
    waited = months_between(belief.known_since, on)
    if stage != YOUNG or not waited or not belief.sources:
        return []
    left = ageing_of(line).left(stage, waited)
    return [f"Young {young_ageing.figures(line.species)}: {left:.0%} of those of the last count are still young."]


def _belief_steps(
    belief: StockBelief, now: StockBelief, at_least: int, confidence: float, on: date, ageing: Ageing
) -> list[str]:
    why = "" if belief.used is None else why_joined(belief.used)
    found = [f"{why[0].upper()}{why[1:]}."] if why else []
    if now.middle and (abs(now.middle - belief.middle) > 0.05 or abs(now.log_sd - belief.log_sd) > 0.005):
        found.append(
            f"Aged to today: from about {belief.middle:.0f} to {now.middle:.0f}, "
            f"the spread from {belief.log_sd:.2f} to {now.log_sd:.2f} on the log scale."
        )
    if belief.moved:
        found.append(f"Since then {belief.moved:+d}, known to the animal.".replace("-", "−"))
    if is_stale(belief, on, ageing):
        found.append(f"The last count is over {ageing.stale_after_months:.0f} months old, so nothing is sold on it.")
    found.append(f"Safe to rely on, {confidence:.0%} sure: {at_least}. Likely: about {now.expected:.0f}.")
    return found


def why_joined(used: CountUpdate, last: Entry | None = None) -> str:
    """Return how a count went into what the book knew; `last` is the count before it."""
    before = "what the book knew"
    if last:
        before = f"your count of {day_said(timezone.localtime(last.happened_at))} ({count_entry.NAMES[last.method]})"
    if used.rule == "exact":
        return "every animal was counted, so this overrules what was known"
    if used.rule == "first":
        return "this is the first count, so it stands alone"
    if used.rule == "replaced" and used.z is None:
        return f"nothing of {before} is left to average it with, so it stands alone"
    if used.rule == "replaced":
        return f"this count is too far from {before} to be averaged with it, so it replaces it"
    weight = "less" if used.gain < 0.5 else "more"
    return f"this count weighs {weight} than {before}: {used.gain:.0%} of the way from there to here"


def own_error_of(own: Own, reader: str) -> str:
    """Return what is known of a person's counts with one method, as a sentence to its reader."""
    whose = "Your" if own.person == reader else f"{own.person}’s"
    sees = "you see" if own.person == reader else f"{own.person} sees"
    what = {"eye": "eye"}.get(own.method, f"counts, {count_entry.NAMES[own.method]}")
    pairs = animals(own.error.pairs, "pairs")
    if not own.error.learnt:
        return (
            f"{whose} {what}: {pairs} so far. From {PAIRS_NEEDED} on, what they show is used; until then they are "
            f"taken to be right within a factor of {exp(own.default_sd):.2f} ({own.error.mark})."
        )
    factor = exp(own.error.bias)
    return (
        f"{whose} {what}: {sees} {factor:.2f} of what is there ({pairs}), give or take a factor of "
        f"{exp(own.error.sd):.2f}. New counts are divided by {factor:.2f} and taken to be right within that "
        f"factor, instead of {exp(own.default_sd):.2f}."
    )


def preview_of(before: Held, after: Held, entry: Entry, on: date, confidence: float, ageing: Ageing) -> str:
    """Return what the book would rely on after one more count, and why, before it is saved."""
    if after.belief is None:
        return "The book would know nothing of this tub."
    at_least = lower(in_local_days(after.belief), on, confidence, ageing, entry.stage)
    later = after.last_count is not None and after.last_count.happened_at > entry.happened_at
    if later or after.belief.used is None:
        return f"The book would rely on {at_least}: a later count stands, so this one only fills in the past."
    why = why_joined(after.belief.used, before.last_count)
    moved = after.belief.moved
    since = f" {abs(moved)} {'came in' if moved > 0 else 'left'} after it." if moved else ""
    return f"The book would rely on {at_least}: {why}.{since}"
