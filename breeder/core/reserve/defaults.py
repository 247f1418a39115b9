"""Every number that the reserve room takes for granted, with its unit, its source and its mark."""

KEEPER_DEFAULT = "keeper default, common practice, no source"

ADULTS_KEPT = 20  # adults that stay in a line; KEEPER_DEFAULT
ADULTS_KEPT_IRREPLACEABLE = 30  # adults that stay of what cannot be bought again; KEEPER_DEFAULT
EACH_SEX_KEPT = 3  # of each sex that stay; KEEPER_DEFAULT
HARVEST_SHARE = 0.30  # of the young between two counts; KEEPER_DEFAULT
SOON_GROWN_MONTHS = 1.0  # from count to adult; young that grow up sooner are hardly counted before they are gone

CONFIDENCE = 0.95  # one-sided
SURE = 0.95  # "95 % sure" of both sexes, or of an effective size from unsexed animals
INBREEDING_LIMIT = 0.10  # over the horizon; judgement
HORIZON_YEARS = 5.0  # judgement, as for a hobby line
ALLELE_FREQUENCY = 0.05  # the rarest allele worth keeping: Marshall & Brown 1975 (from memory)
EFFECTIVE_SHARE = 0.3  # effective size / adults in a stable tub; judgement (wild mean 0.10: Frankham 1995)
DAYS_PER_YEAR = 365.25
SEX_RATIO_CONFIDENCE = 0.95  # two-sided; how sure before the sexes are said to be out of their share
FEW_EXPECTED = 5  # of the rarer sex; with fewer expected a sample says nothing: Cochran 1954 (from memory)
CIRCLE_GENERATIONS = 10  # looked ahead where the generation time is not in the book; KEEPER_DEFAULT

EXTINCTION_RISK = 0.05  # accepted chance that the breeders left die out by bad luck; judgement
DAUGHTERS_PER_FEMALE = 1.5  # that grow up to breed, in a tub that does well; KEEPER_DEFAULT
# Adults by share of females under which a line of two sexes ends by bad luck alone more often than about 1 in 20. Own
# simulation: sexes of the first adults at random, Poisson young worth 1.5 daughters a female, sons by their share, and
# both sexes needed in every generation.
FLOOR_BY_SHARE_FEMALE = (
    (0.10, 50),
    (0.20, 25),
    (0.30, 16),
    (0.40, 12),
    (0.50, 10),
    (0.60, 10),
    (0.70, 12),
    (0.75, 14),
    (0.80, 17),
    (0.90, 33),
    (0.95, 63),
)

GIVES_SURPLUS = frozenset({"breeding", "growing"})  # purposes of tubs that may be sold from
COUNTS_AS_BREEDERS = frozenset({"breeding"})  # purposes of tubs whose adults are the line's breeders
PURPOSES = ("breeding", "growing", "quarantine", "isolation", "mixed", "show")
