"""Every number that counting and stock take for granted, with its unit, its source and its mark."""

from dataclasses import dataclass

KEEPER_DEFAULT = "keeper default, common practice, no source"

# Shared error of each method: the part (standard deviation on the natural-log scale) that counting again the same way
# does not reduce, because the same eye and the same habits of the animals come back every time. KEEPER_DEFAULT.
# "weight" is portioning by weight. "index", like "piece", looks at what happens to sit under cover. Animals counted one
# by one ("hand") are simply there. "after_sale" and "by_sexes" are as good as the two looks that they compare. "marked"
# animals lose their marks when they molt, never the same share twice.
SHARED_SD: dict[str, float] = {
    "eye": 0.35,
    "piece": 0.25,
    "index": 0.25,
    "after_sale": 0.25,
    "by_sexes": 0.25,
    "portions": 0.10,
    "weight": 0.10,
    "removal": 0.10,
    "marked": 0.25,
    "full_sort": 0.02,
    "hand": 0.0,
}


@dataclass(frozen=True)
class EyeClass:
    """One size class for a guess by eye, both ends in animals."""

    words: str
    low: int
    high: int


# The size classes that keepers use (common practice, no source). "Under 10" starts at 1, because a tub that looks empty
# is sorted by hand and counted as 0. "Over 250" ends at twice its lower end, like the classes 25–50 and 50–100, so a
# huge colony is guessed low, which is the safe side.
EYE_CLASSES: tuple[EyeClass, ...] = (
    EyeClass("under 10", 1, 10),
    EyeClass("10–25", 10, 25),
    EyeClass("25–50", 25, 50),
    EyeClass("50–100", 50, 100),
    EyeClass("100–250", 100, 250),
    EyeClass("over 250", 250, 500),
)
EYE_CLASS_WIDTH_SDS = 3.29  # a class holds 90 % of guesses: 2 × 1.645 standard deviations from end to end

SHELTER_SATURATION = 70  # animals; the largest aggregate seen: Broly et al. 2012, ZooKeys 176:133
FEW_PORTIONS = 5  # below this the t quantile is so large that another portion helps a lot; KEEPER_DEFAULT
FEW_RECAPTURES = 7  # under 7 recaptures the estimator is biased low: Seber 1982, p. 60 (from memory)

CONFIDENCE = 0.95  # one-sided, for what may be sold
STORED_CONFIDENCE = 0.95  # one-sided; a count is stored by its bound at this confidence
CONFIDENCES = tuple(percent / 100 for percent in range(50, 100))  # one-sided; the choices for a line

DAYS_PER_MONTH = 30.4375  # 365.25 / 12
ADULT_LIFE_MONTHS = 24.0  # KEEPER_DEFAULT; wild Armadillidium vulgare live 2 to 4 years
YOUNG_MATURE_DAYS = 120  # for a species without its own; on the safe side of 60 to 240; KEEPER_DEFAULT
YOUNG_SURVIVAL = 0.5  # share that live to breed, for a species without its own; KEEPER_DEFAULT
WIDENING_PER_MONTH = 0.02  # variance on the natural-log scale per month; KEEPER_DEFAULT
STALE_AFTER_MONTHS = 6.0  # nothing is sold on a count older than this; KEEPER_DEFAULT
IRRECONCILABLE_Z = 1.96  # two-sided 95 %: a count this far from the belief replaces it

PAIRS_NEEDED = 5  # guesses followed by a full sort before a person's own error is used; KEEPER_DEFAULT
PAIR_WITHIN_DAYS = 30  # a full sort checks a guess only this long after it; KEEPER_DEFAULT
LEAST_SHARED_SD = 0.02  # no guess counts as better than a full sort; KEEPER_DEFAULT

MOST_SUGGESTED_COUNTS = 25  # how many counts to suggest at most; KEEPER_DEFAULT
WORTH_SHARE = 0.5  # share of what doubt hides that a counting method should win back; KEEPER_DEFAULT
CLUMPING_K = 2.0  # of the negative binomial, for a tub whose portions were never counted; KEEPER_DEFAULT
PORTIONS_ASKED = 8  # portions in a planned count; KEEPER_DEFAULT
PORTION_SHARE = 1 / 80  # of the tub in one portion, so that eight make a tenth; KEEPER_DEFAULT
EYE_MINUTES = 1.0  # for a guess by eye; KEEPER_DEFAULT
PORTION_MINUTES = 2.0  # for one portion; KEEPER_DEFAULT
SORT_MINUTES = 10.0  # to go through the substrate of a full sort; KEEPER_DEFAULT
SORTED_A_MINUTE = 10.0  # animals picked out in a full sort; KEEPER_DEFAULT

COUNTS_TO_FIT = 3  # counts of a tub needed before its own growth is used; KEEPER_DEFAULT
MONTHS_TO_FIT = 2.0  # they must span at least this long; KEEPER_DEFAULT
DEFAULT_RATE_DOUBT = 0.5  # spread of a species' default growth rate, as a share of it; KEEPER_DEFAULT
LEAST_RATE_SD = 0.02  # a month; a default rate near zero is uncertain too; KEEPER_DEFAULT
LUCK_VARIANCE = 0.02  # of log numbers, per month, on top of the rate's uncertainty; KEEPER_DEFAULT
LONGEST_FORECAST_MONTHS = 60.0  # a sale is never planned further ahead
FULL_TUB_SHARE = 0.95  # of capacity; a tub counted above it is taken as this full when its growth is fitted

FIT_OVER_MONTHS = 12.0  # how far back the fit of a tub's growth looks; KEEPER_DEFAULT
ROOM_OVER_MOST = 1.5  # room in a tub as a multiple of the highest count in it; KEEPER_DEFAULT
ANIMALS_PER_LITER = 20.0  # least room for a stage, per liter of tub; KEEPER_DEFAULT

CRASH_SHARE = 0.5  # a count under this share of what was believed is a crash; KEEPER_DEFAULT
DANGER_CHANCE = 0.05  # from this chance of being below the minimum on, a line is counted first; KEEPER_DEFAULT
