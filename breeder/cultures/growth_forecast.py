"""When a wanted number of a line will be there: growth from its tubs' own counts weighed with what the species does.

A forecast tells when to count. Nothing is sold on it: births are sold when they are counted.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils import timezone

from breeder.core.counting.defaults import ANIMALS_PER_LITER, DAYS_PER_MONTH, FIT_OVER_MONTHS, ROOM_OVER_MOST
from breeder.core.counting.plurals import number_text
from breeder.core.reserve.defaults import GIVES_SURPLUS
from breeder.core.stock.belief import aged, spread_from_median, unrounded_bound
from breeder.core.stock.growth.growth_rate import Growth, GrowthCount, default_growth, fitted_growth
from breeder.core.stock.growth.stage_matrix import (
    VitalRates,
    growth_rate,
    reproductive_value,
    stage_matrix,
    sustainable_share,
    sustainable_stage_share,
)
from breeder.core.stock.growth.surplus_date import SurplusForecast, surplus_forecast
from breeder.cultures import belief_store
from breeder.cultures.line_stock import StageStock
from breeder.cultures.line_surplus import purpose_on
from breeder.cultures.models import Culture, Entry
from breeder.cultures.tub_ledger import Ledger, ageing_of, in_local_days
from breeder.species.models import Line, Species

YOUNG_ROW, ADULT_ROW = 0, 1  # of a stage matrix
VITAL_FIELDS = ("brood", "broods_a_year", "mature_days", "young_survival")
FITTED_FROM = timedelta(days=round(FIT_OVER_MONTHS * DAYS_PER_MONTH))


@dataclass(frozen=True)
class TubGrowth:
    """One tub and stage: what is likely there, what is safely there, its growth if known, and room for how many."""

    likely: float
    safe: float
    growth: Growth | None
    room: float


@dataclass(frozen=True)
class WhenReady:
    """When so many can likely be sold: the forecast, or the reason for none, in sentences."""

    wanted: int
    stage: str
    now: bool = False
    likely_now: bool = False
    forecast: SurplusForecast | None = None
    why: str = ""


def when_ready(line: Line, stock: StageStock, wanted: int, on: date) -> WhenReady:
    """Return when `wanted` of a stage can likely be sold above what stays and is promised."""
    if wanted <= stock.free:
        return WhenReady(wanted, stock.stage, now=True)
    tubs = _giving(line, on)
    default = growth_of_species(line.species)
    book = belief_store.load({tub.pk for tub in tubs})[0]
    read = [one for tub in tubs if (one := _tub_growth(book, tub, stock.stage, default, on))]
    if not read:
        why = f"No {stock.stage} were counted yet in a tub that gives any. Count them first."
        return WhenReady(wanted, stock.stage, why=why)
    growth = _together(read, default)
    if growth is None:
        why = (
            "Its tubs were counted too rarely to see them grow, and what the species does is not filled in (brood, "
            "broods a year, days to maturity, survival of young). Fill that in on the species’ page, or count three "
            "times over two months."
        )
        return WhenReady(wanted, stock.stage, why=why)
    likely, safe = sum(one.likely for one in read), sum(one.safe for one in read)
    spread = spread_from_median(likely, safe)
    rest = needed(line, stock, wanted) - wanted
    forecast = surplus_forecast(on, likely, spread, growth, wanted, rest, sum(one.room for one in read))
    return WhenReady(wanted, stock.stage, likely_now=forecast.median_on == on, forecast=forecast)


def growth_of_species(species: Species) -> Growth | None:
    """Return the growth that a species' own values give, with their marks; None while one of them is missing."""
    vital = _vital_of(species)
    return None if vital is None else default_growth(vital, f"from {_vital_words(species)}")


def spare_of_species(species: Species) -> tuple[str, ...]:
    """Return in sentences what a species with room can spare for good; nothing while one of its values is missing."""
    vital = _vital_of(species)
    if vital is None:
        return ()
    matrix = stage_matrix(vital)
    source = f"From {_vital_words(species)}. Nothing is sold on it: what was counted and what must stay decide."
    if growth_rate(matrix) <= 1:
        return (
            "By these values it does not grow even with room and care, so what goes is not made good. Check them on "
            "the species’ page.",
            source,
        )
    young, adults = (sustainable_stage_share(matrix, stage) for stage in (YOUNG_ROW, ADULT_ROW))
    worth = float(reproductive_value(matrix)[ADULT_ROW])
    return (
        f"At the very most {young:.0%} of the young could go every month and the tub would hold its own, or "
        f"{adults:.0%} of the adults, or {sustainable_share(matrix):.0%} of all: one of these, with room and care. "
        "Stay well below, since what a species does in your tubs is not known so closely.",
        f"One adult counts in what comes after for as much as {worth:.1f} young. Sell young first.",
        source,
    )


def _vital_of(species: Species) -> VitalRates | None:
    values = [getattr(species, name) for name in VITAL_FIELDS]
    if any(value is None or not value for value in values):
        return None
    brood, broods, days, survival = (float(value) for value in values)
    return VitalRates(
        brood, broods, days / DAYS_PER_MONTH, survival, float(species.share_female), float(species.adult_life_months)
    )


def _vital_words(species: Species) -> str:
    marks = {species.sources.get(name, ["common practice"])[0] for name in VITAL_FIELDS}
    return f"the brood, survival and life of the species ({', '.join(sorted(marks))})"


def seen_in(entries: Iterable[Entry], since: date) -> list[GrowthCount]:
    """Return a tub's counts since a day with what left it in between; a tub that was tipped over begins anew."""
    found: list[GrowthCount] = []
    moved = 0
    for entry in entries:
        if entry.kind == Entry.Kind.ABOUT:
            found, moved = [], 0
        elif entry.kind == Entry.Kind.CHANGE:
            moved += entry.number or 0
        elif timezone.localdate(entry.happened_at) >= since:
            found.append(
                GrowthCount(
                    on=timezone.localdate(entry.happened_at),
                    estimate=entry.estimate or 0.0,
                    log_sd=entry.log_sd or 0.0,
                    taken_since=float(-moved) if found else 0.0,
                    shared_sd=entry.shared_sd or 0.0,
                    way=f"{entry.method} by {entry.by_id}",
                )
            )
            moved = 0
    return found


def _giving(line: Line, on: date) -> list[Culture]:
    tubs = Culture.objects.filter(line=line, closed_on=None, not_for_sale="").select_related("line__species")
    return [tub for tub in tubs if purpose_on(tub, on) in GIVES_SURPLUS]


def _tub_growth(book: Ledger, tub: Culture, stage: str, default: Growth | None, on: date) -> TubGrowth | None:
    belief, entries = book.held(tub.pk, stage).belief, book.entries_of(tub.pk, stage)
    if belief is None:
        return None
    now = aged(in_local_days(belief), on, ageing_of(tub.line), stage)
    room = _room(tub, entries, now.expected)
    growth = fitted_growth(seen_in(entries, on - FITTED_FROM), default, room)
    return TubGrowth(now.expected, max(0.0, unrounded_bound(now) + now.moved), growth, room)


def _room(tub: Culture, entries: list[Entry], now: float) -> float:
    """Return for how many of a stage a tub has room: half as many again as were ever there, or by its litres."""
    most = max([entry.estimate or 0.0 for entry in entries if entry.kind == Entry.Kind.COUNT] + [now])
    return max(ROOM_OVER_MOST * most, ANIMALS_PER_LITER * float(tub.litres or 0), 1.0)


def _together(read: list[TubGrowth], default: Growth | None) -> Growth | None:
    """Return the growth of all tubs, each weighing by what it holds; their doubts are taken to go together."""
    known = [(tub.likely, tub.growth) for tub in read if tub.growth]
    whole = sum(likely for likely, _ in known)
    counted = [growth.counts for _, growth in known if growth.counts]
    if whole <= 0 or not counted:
        return default
    rate = sum(likely * growth.rate for likely, growth in known) / whole
    sd = sum(likely * growth.sd for likely, growth in known) / whole
    own = f"fitted to {sum(counted)} counts of {number_text(len(counted), 'tubs')}, with what left added back"
    usual = f", weighed with the usual growth {default.mark}" if default else ""
    return Growth(rate, sd, sum(counted), own + usual)


def needed(line: Line, stock: StageStock, wanted: int) -> int:
    """Return how many must be there so that `wanted` more than are promised may be sold."""
    to_go, loss = wanted + stock.promised, float(line.handling_loss)
    needed = stock.kept_back + (to_go / (1 - loss) if loss < 1 else float(to_go))
    share = float(line.harvest_share) if stock.stage == "young" and line.harvest_share else None
    return -int(-max(needed, to_go / share if share else 0.0) // 1)
