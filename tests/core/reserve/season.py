"""A season of one tub that nobody can look into: young of every age, births, deaths, growing up. No outside source.

Independent of the book: it knows only chances for single animals. Time runs in quarters of a month.
"""

import numpy as np
from numpy.random import Generator

QUARTERS = 4  # in a month
DAYS_A_QUARTER = 30.4375 / QUARTERS


class YoungTub:
    """The young of one tub by age in quarters of a month; they die evenly and leave for the adults at `mature`."""

    def __init__(self, draw: Generator, likely: float, mature_months: int, survival: float) -> None:
        self.draw = draw
        self.stay = survival ** (1 / (mature_months * QUARTERS))  # of one animal over a quarter of a month
        by_age = self.stay ** np.arange(mature_months * QUARTERS)
        self.births = likely / by_age.sum()
        self.ages = draw.poisson(self.births * by_age)
        self.age = 0  # quarters of a month lived through

    @property
    def held(self) -> int:
        return int(self.ages.sum())

    def wait(self, *, breeding: bool = True) -> None:
        """Let a quarter of a month pass."""
        self.age += 1
        self.ages = np.roll(self.draw.binomial(self.ages, self.stay), 1)
        self.ages[0] = self.draw.poisson(self.births) if breeding else 0

    def give(self, number: int) -> int:
        """Take up to so many of them out, of any age, and return how many there were."""
        number = min(number, self.held)
        self.ages = self.ages - self.draw.multivariate_hypergeometric(self.ages, number)
        return number
