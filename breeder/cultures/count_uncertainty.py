"""From rows to the doubt of each tub: what it keeps unsold, where it hides a danger, and in words what to do."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from breeder.core.counting import count_priorities, method_choice
from breeder.core.counting.defaults import SHARED_SD
from breeder.core.counting.plurals import number_text
from breeder.core.reserve.defaults import GIVES_SURPLUS
from breeder.core.stock.belief import spread_from_median, unrounded_bound
from breeder.cultures.line_stock import StageStock
from breeder.cultures.line_surplus import LineRows, Read, as_read, purpose_on, stock_from
from breeder.cultures.models import Culture, Entry, Stage
from breeder.cultures.phrases import animals
from breeder.species.models import Line

WAY_WORDS = {
    "eye": "A guess by eye is enough",
    "portions": "Count it in portions",
    "full_sort": "Sort it fully",
}


@dataclass(frozen=True)
class Doubtful:
    """One stage of one tub as it reads today, for the planner."""

    tub: Culture
    stage: str
    read: Read
    log_sd: float


@dataclass(frozen=True)
class Reason:
    """Why one stage of a tub is worth counting, how, and what a better count of the same kind would take."""

    stage: str
    why: str
    way: str
    method: str
    more: str = ""


@dataclass(frozen=True)
class ToCount:
    """A tub worth counting this week."""

    tub: Culture
    line: Line
    reasons: tuple[Reason, ...]
    unsold: float
    danger: float


def of_line(rows: LineRows, on: date) -> list[tuple[count_priorities.LineDoubt, dict[tuple[int, str], Doubtful]]]:
    """Return the doubt of each stage of a line kept by the animal, with its tubs by (tub, stage)."""
    stock, found = stock_from(rows, on), []
    for stage in (Stage.YOUNG.value, Stage.ADULTS.value) if rows.line.sold_by == Line.SoldBy.HEAD else ():
        tubs = {(tub.pk, stage): _doubtful(tub, stage, rows, on) for tub in _giving(rows, on, stage)}
        found.append(
            (_line_doubt(rows.line, stock.stages[stage], tubs, sold=_is_sold(rows.line, stock.sellable)), tubs)
        )
    return found


def never_counted(rows: LineRows, on: date) -> list[Culture]:
    """Return the tubs that would give surplus but of which the book knows nothing."""
    if rows.line.sold_by != Line.SoldBy.HEAD:
        return []
    known = {tub_id for tub_id, stage in rows.beliefs}
    return [tub for tub in rows.tubs if _gives(tub, on) and tub.pk not in known]


def reason_of(
    wish: count_priorities.NextCount, doubt: Doubtful, last: Entry | None, shared: Mapping[str, float] = SHARED_SD
) -> Reason:
    """Return in words why a stage of a tub is worth counting; `last` is the count it rests on."""
    lower = 0 if doubt.read.is_stale else doubt.read.lower
    likely = doubt.read.likely_exact
    way = method_choice.worthwhile_method(
        likely, lower, danger=count_priorities.is_uncertain_danger(wish.danger), shared=shared
    )
    return Reason(
        doubt.stage,
        wish.why,
        "" if way is None else _way_words(way, lower, doubt.stage),
        "hand" if way is None else way.method,
        _more_portions(doubt, last, shared["portions"]),
    )


FIRST_COUNT = Reason(
    "young", "Never counted, so nothing of it can be sold.", "A guess by eye is enough to begin with.", "eye"
)


def _giving(rows: LineRows, on: date, stage: str) -> list[Culture]:
    return [tub for tub in rows.tubs if _gives(tub, on) and (tub.pk, stage) in rows.beliefs]


def _gives(tub: Culture, on: date) -> bool:
    return not tub.not_for_sale and purpose_on(tub, on) in GIVES_SURPLUS


def _is_sold(line: Line, sellable: bool) -> bool:
    return sellable and not line.frozen_because


def _doubtful(tub: Culture, stage: str, rows: LineRows, on: date) -> Doubtful:
    read = as_read(tub, rows.beliefs[tub.pk, stage], rows.line, on)
    now = read.now
    return Doubtful(tub, stage, read, spread_from_median(now.expected, unrounded_bound(now) + now.moved))


def _line_doubt(
    line: Line, stock: StageStock, tubs: Mapping[tuple[int, str], Doubtful], *, sold: bool
) -> count_priorities.LineDoubt:
    told = tuple(
        count_priorities.TubDoubt(key, one.read.likely_exact, one.read.lower, one.log_sd, one.read.is_stale)
        for key, one in tubs.items()
    )
    share = line.harvest_share if stock.stage == Stage.YOUNG else None
    return count_priorities.LineDoubt(
        "Its line" if len(tubs) > 1 else "It",
        told,
        stock.kept_back,
        stock.promised,
        None if share is None else float(share),
        free=stock.free if sold else 0,
        sold=sold,
        # Young that are kept back are no danger to the line when they are missing; young that are promised are.
        needed=0 if stock.stage == Stage.YOUNG and not stock.promised else None,
    )


def _way_words(way: method_choice.MethodOption, lower: int, stage: str) -> str:
    told = WAY_WORDS[way.method]
    if way.portions:
        told = f"Count it in {way.portions} portions, together a tenth of the tub"
    minutes = f"about {way.minutes:.0f} minute{'' if round(way.minutes) == 1 else 's'}"
    now = f" instead of {lower}" if lower else ""
    return f"{told}: {minutes}, and the book could rely on about {number_text(round(way.relied), stage)}{now}."


def _more_portions(doubt: Doubtful, last: Entry | None, shared_sd: float) -> str:
    """Return how many portions more would halve the doubt: like those of the last count, or from nothing."""
    if doubt.log_sd <= 0 or doubt.read.likely_exact < 1:
        return ""
    if last is not None and last.method == "portions" and not doubt.read.is_stale:
        counts, share = last.given["counts"], sum(last.given["sizes"]) / last.given["whole"]
        more = method_choice.portions_to_halve(len(counts), share)
        if more is None:
            return "Even all of it in portions would not halve the doubt of the last count; only a full sort does."
        return f"{animals(more, 'portions')} more than the {len(counts)} of the last count would halve its own doubt."
    needed = method_choice.portions_for_spread(doubt.read.likely_exact, doubt.log_sd / 2, shared_sd)
    if needed is None:
        return "No number of portions would halve the doubt; only a full sort does."
    return f"{number_text(needed, 'portions')} of one in eighty would halve the doubt."
