"""Make two years of counts, looks, deaths and sales, write them in bulk, and replay them once at the end."""

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from math import exp
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from breeder.cultures import belief_store, count_entry, eye_bias
from breeder.cultures.models import Entry, Stage
from breeder.management.demo_data.demo_stock import Stock, Truth
from breeder.management.demo_data.sales import Sales
from breeder.species.models import Line

WEEKS = 104
WEEKS_BETWEEN_COUNTS = (4, 5, 6)
SORT_EVERY_COUNTS = 5  # every fifth count of a tub is in portions or by hand instead of by eye
EYE_ERROR = 0.30  # log scale, the invented keeper's own
MOSTLY_DAUGHTERS = {"Glasshouse two": 0.75}  # locality of a line whose mothers bear mostly daughters, invented
# The invented keeper guesses adults before sorting them and sees too few; long enough ago not to change today's sales.
SORTED_BEFORE_WEEKS, EYE_SEES = 12, 0.78
GROWTH_A_WEEK, RENEWAL_A_WEEK = 0.09, 0.05
DEATH_CHANCE = 0.03
# Tubs whose last count is old: (species, form) -> weeks without a count. One is due, one is past six months.
LEFT_ALONE = {("Armadillidium nasatum", "Ember"): 21, ("Porcellio dilatatus", ""): 30}
PORTION_ML, TUB_ML = 50, 3000
PORTIONS = 8


@dataclass
class History:
    """Collects the entries before they are written all at once."""

    stock: Stock
    sales: Sales
    today: date
    zone: ZoneInfo
    by: Any
    dice: Random
    entries: list[Entry] = field(default_factory=list)
    counts_done: dict[int, int] = field(default_factory=dict)

    def write(self) -> int:
        """Simulate the weeks, write everything, replay every tub, and return the number of entries."""
        for week in range(WEEKS, 0, -1):
            monday = self.today - timedelta(days=7 * week + self.today.weekday())
            for truth in self.stock.truths:
                self._simulate_week(truth, monday, week)
            self.entries += self.sales.of_week(monday, week)
        Entry.objects.bulk_create(sorted(self.entries, key=lambda entry: entry.happened_at), batch_size=500)
        belief_store.bring_up_to_date(truth.tub.pk for truth in self.stock.truths)
        eye_bias.learn(self.by.pk, "eye")
        return len(self.entries)

    def _simulate_week(self, truth: Truth, monday: date, week: int) -> None:
        tub = truth.tub
        if tub.started_on > monday:
            return
        if tub.line.sold_by == Line.SoldBy.HEAD:
            self._live(truth, monday)
            if self._count_is_due(truth, monday, week):
                self._count(truth, monday, week)
        self._look(truth, monday)

    def _live(self, truth: Truth, monday: date) -> None:
        """Let a week pass: young are born up to the tub's capacity, adults are replaced, some die."""
        if not truth.adults:
            truth.adults, truth.young = truth.adults_aim * 0.6, truth.young_aim * 0.5
        truth.young += GROWTH_A_WEEK * truth.young_aim * (1 - truth.young / truth.young_aim)
        truth.adults += RENEWAL_A_WEEK * (truth.adults_aim - truth.adults)
        if self.dice.random() < DEATH_CHANCE:
            died = self.dice.randint(1, 2)
            truth.adults -= died
            reason = Entry.Reason.DIED
            self._add(
                truth, Entry.Kind.CHANGE, self._at(monday, 2, 19), stage=Stage.ADULTS, number=-died, reason=reason
            )

    def _count_is_due(self, truth: Truth, monday: date, week: int) -> bool:
        line = truth.tub.line
        if week <= LEFT_ALONE.get((line.species.scientific_name, line.form_name), 0):
            return False
        if truth.counted_on is None or week == 2:
            return True
        return (monday - truth.counted_on).days >= 7 * self.dice.choice(WEEKS_BETWEEN_COUNTS)

    def _count(self, truth: Truth, monday: date, week: int) -> None:
        truth.counted_on = monday
        done = self.counts_done[truth.tub.pk] = self.counts_done.get(truth.tub.pk, 0) + 1
        careful = done % SORT_EVERY_COUNTS == 1
        at = self._at(monday, 5, 10)
        self._add_count(truth, Stage.YOUNG, truth.young, "portions" if careful else "eye", at)
        if careful and week > SORTED_BEFORE_WEEKS:
            self._guess_and_sort(truth, at + timedelta(minutes=1))
        else:
            self._add_count(truth, Stage.ADULTS, truth.adults, "hand" if careful else "eye", at + timedelta(minutes=2))

    def _guess_and_sort(self, truth: Truth, at: datetime) -> None:
        """Guess the adults by eye, then sort them; the guess has its own dice, so that nothing else changes."""
        seen = truth.adults * EYE_SEES * exp(Random(f"{truth.tub.number} {at}").gauss(0, EYE_ERROR / 2))
        self._add_count(truth, Stage.ADULTS, seen, "guess", at)
        self._add_count(truth, Stage.ADULTS, truth.adults, "full_sort", at + timedelta(minutes=1))

    def _add_count(self, truth: Truth, stage: str, there: float, method: str, at: datetime) -> None:
        given, sexes = self._typed(truth, there, method)
        method = "eye" if method == "guess" else method
        count = count_entry.counted(method, given)
        self._add(
            truth,
            Entry.Kind.COUNT,
            at,
            stage=stage,
            method=method,
            given=given,
            estimate=count.estimate,
            lower=count.lower,
            log_sd=count.log_sd,
            shared_sd=count.shared_sd,
            **sexes,
        )

    def _typed(self, truth: Truth, there: float, method: str) -> tuple[dict[str, Any], dict[str, int]]:
        """Return what the keeper would have typed for a tub that holds this many."""
        if method == "guess":
            return count_entry.eye_class(_eye_class(there)), {}
        if method == "eye":
            guess = there * 2.718281828 ** self.dice.gauss(0, EYE_ERROR)
            return count_entry.eye_class(_eye_class(guess)), {}
        if method == "portions":
            mean = there * PORTION_ML / TUB_ML
            counts = [max(0, round(mean * self.dice.gammavariate(4, 1 / 4))) for _ in range(PORTIONS)]
            return {
                "counts": counts if any(counts) else [1] * PORTIONS,
                "sizes": [PORTION_ML] * PORTIONS,
                "whole": TUB_ML,
            }, {}
        counted = max(1, round(there))
        line = truth.tub.line
        share = MOSTLY_DAUGHTERS.get(line.locality, float(line.species.share_female))
        if not 0 < share < 1:
            return {"counted": counted}, {}
        females = round(counted * share * 0.8)
        males = round(counted * (1 - share) * 0.8)
        sexed = f"{males}.{females}.{counted - males - females}"
        return {"counted": counted, "sexed": sexed}, {"males": males, "females": females}

    def _look(self, truth: Truth, monday: date) -> None:
        seen = ["well"]
        if self.dice.random() < 0.2:
            seen.append(self.dice.choice(["young", "mancae", "pouches"]))
        if self.dice.random() < 0.015:
            seen = [self.dice.choice(["mould", "mites", "dry"])]
        self._add(truth, Entry.Kind.LOOKED, self._at(monday, 3, 18), given={"seen": seen})
        if monday.isocalendar().week % 2 == 0:
            self._add(truth, Entry.Kind.CARE, self._at(monday, 3, 19), given={"did": ["fed", "misted"]})

    def _add(self, truth: Truth, kind: str, at: datetime, **fields: Any) -> None:
        at += timedelta(minutes=truth.tub.number % 50)
        self.entries.append(Entry(culture=truth.tub, kind=kind, happened_at=at, recorded_at=at, by=self.by, **fields))

    def _at(self, monday: date, weekday: int, hour: int) -> datetime:
        return datetime.combine(monday + timedelta(days=weekday), time(hour), self.zone)


def _eye_class(guess: float) -> str:
    return next((size for size in count_entry.EYE_CLASSES if guess < size.high), count_entry.EYE_CLASSES[-1]).words
