"""Sales over a season, compared with a keeper who knows the true numbers; no outside source: simulation, seeded.

Three tubs of a line are simulated animal by animal (`season`). The keeper's eye has an error that stays (0.35 on the
log scale) and one of the day (0.25). Buyers ask for half as many again as are born, so that what is spared is mostly
asked for.
"""

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from numpy.random import Generator

from breeder.core.reserve.surplus import Free, StageHoldings, Tub, stage_free, tub_stage
from breeder.core.stock.belief import StockBelief, lower
from breeder.core.stock.events import Ageing, CountEvent, ExactChange
from breeder.core.stock.replay import apply_event
from tests.core.reserve.season import DAYS_A_QUARTER, QUARTERS, YoungTub

START = date(2026, 1, 1)
MONTHS, COUNT_EVERY = 12, 4  # months of a season; quarters of a month between counts
EYE_OWN, EYE_SHARED = 0.25, 0.35
MATURE, SURVIVAL = 8, 0.5
AGEING = Ageing(young_mature_months=MATURE, young_survival=SURVIVAL)
HARVEST, KEPT = 0.30, 20
TUBS, LIKELY = 3, 120  # young in a tub
PACK, PACKS_A_QUARTER = 12, 2.0
SEASONS = 20


@dataclass
class Keeper:
    """Sells by the book: counts, asks what is free, and packs from the tub that can spare the most."""

    eye: float
    loss: float
    share_of_bound: bool = False
    known: list[StockBelief | None] = field(default_factory=lambda: [None] * TUBS)
    sold: int = 0
    missing: int = 0
    reads: list[bool] = field(default_factory=list)

    def count(self, tubs: list[YoungTub], on: date, draw: Generator) -> None:
        for number, tub in enumerate(tubs):
            guess = max(0.5, tub.held * float(np.exp(self.eye + draw.normal(0, EYE_OWN))))
            self._write(number, CountEvent(on, guess, float(np.hypot(EYE_OWN, EYE_SHARED)), EYE_SHARED))

    def free(self, on: date) -> tuple[Free, dict[int, Free]]:
        read = [
            tub_stage(Tub(n, "breeding"), known, "young", on, 0.95, AGEING, 0) for n, known in enumerate(self.known)
        ]
        if self.share_of_bound:
            read = [replace(tub, at_count=self._bound_at_count(tub.tub)) for tub in read]
        return stage_free(StageHoldings("young", tuple(read), KEPT, 0, self.loss, HARVEST))

    def sell(self, asked: int, tubs: list[YoungTub], on: date) -> None:
        while asked > 0:
            line, by_tub = self.free(on)
            best = max(by_tub, key=lambda number: by_tub[number].number)
            number = min(asked, line.number, by_tub[best].number)
            if number <= 0:
                return
            gone = tubs[best].give(number)
            self.missing += number - gone
            self._write(best, ExactChange(on, -gone, "packed"))
            self.sold, asked = self.sold + gone, asked - number

    def read(self, tubs: list[YoungTub], on: date) -> None:
        for known, tub in zip(self.known, tubs, strict=True):
            assert known is not None
            self.reads.append(lower(known, on, 0.95, AGEING, "young") <= tub.held)

    def _bound_at_count(self, number: int) -> float:
        known = self.known[number]
        assert known is not None
        return lower(replace(known, moved=0), known.known_since, 0.95, AGEING, "young")

    def _write(self, number: int, event: Any) -> None:
        self.known[number] = apply_event(self.known[number], event, AGEING, "young", ())


@dataclass
class Knower:
    """Knows every animal, and takes as many between two counts as the same rule allows of the true number."""

    loss: float
    may_go: int = 0
    sold: int = 0
    taken: int = 0

    def count(self, tubs: list[YoungTub]) -> None:
        self.may_go, self.taken = sum(int(HARVEST * tub.held) for tub in tubs), 0

    def sell(self, asked: int, tubs: list[YoungTub]) -> None:
        held = sum(tub.held for tub in tubs)
        spare = int((held + self.taken - KEPT) * (1 - self.loss)) - self.taken
        number = max(0, min(asked, spare, self.may_go - self.taken))
        for _ in range(number):
            fullest = max(tubs, key=lambda tub: tub.held)
            fullest.give(1)
        self.taken, self.sold = self.taken + number, self.sold + number


def season(seed: int, loss: float, *, share_of_bound: bool = False) -> tuple[Keeper, Knower]:
    """Return a keeper by the book and a knower after a season with tubs that began alike."""
    draw = np.random.default_rng(seed)
    likely = np.exp(draw.normal(np.log(LIKELY), 0.4, TUBS))
    keeper, knower = Keeper(float(draw.normal(0, EYE_SHARED)), loss, share_of_bound), Knower(loss)
    book, truth = (
        [YoungTub(np.random.default_rng(seed + 10_000), n, MATURE, SURVIVAL) for n in likely] for _ in range(2)
    )
    for quarter in range(MONTHS * QUARTERS):
        on = START + timedelta(days=round(quarter * DAYS_A_QUARTER))
        if quarter % COUNT_EVERY == 0:
            keeper.count(book, on, draw)
            knower.count(truth)
        asked = PACK * int(draw.poisson(PACKS_A_QUARTER))
        keeper.sell(asked, book, on)
        knower.sell(asked, truth)
        keeper.read(book, on)
        for tub in (*book, *truth):
            tub.wait()
    return keeper, knower


def seasons(loss: float, *, share_of_bound: bool = False) -> tuple[float, float, int]:
    """Return what was sold as a share of what the knower sold, the share of bounds that held, and animals missing."""
    lived = [season(seed, loss, share_of_bound=share_of_bound) for seed in range(SEASONS)]
    sold, known = sum(keeper.sold for keeper, _ in lived), sum(knower.sold for _, knower in lived)
    safe = np.mean([held for keeper, _ in lived for held in keeper.reads])
    return sold / known, float(safe), sum(keeper.missing for keeper, _ in lived)


@pytest.mark.parametrize("loss", [0.0, 0.1])
def test_the_book_sells_nine_tenths_of_what_a_keeper_who_knows_the_truth_sells(loss: float) -> None:
    sold, safe, missing = seasons(loss)
    assert sold >= 0.9
    assert safe >= 0.95
    assert missing == 0


def test_a_share_of_the_bound_would_lose_four_sales_in_ten() -> None:
    assert seasons(0.0, share_of_bound=True)[0] < 0.7
