"""The breeding minimum of a line: the binding rule, the genetic advice, and what a sexed sale must leave."""

from __future__ import annotations

from dataclasses import dataclass

from breeder.core.counting.plurals import is_or_are, number_text

from .allele_retention import animals_needed_for_allele
from .defaults import (
    ADULTS_KEPT,
    ADULTS_KEPT_IRREPLACEABLE,
    ALLELE_FREQUENCY,
    CONFIDENCE,
    EACH_SEX_KEPT,
    EFFECTIVE_SHARE,
    HORIZON_YEARS,
    INBREEDING_LIMIT,
    KEEPER_DEFAULT,
)
from .demography import demographic_floor, floor_without_sexes
from .effective_size import (
    animals_needed_sexed,
    animals_needed_unsexed,
    effective_size,
    effective_size_needed,
    partners_needed,
)
from .rounding import whole_above

TWO_SEXES, CLONAL, HERMAPHRODITE = "two_sexes", "clonal", "hermaphrodite"
REPRODUCTIONS = (TWO_SEXES, CLONAL, HERMAPHRODITE)


def breeders_needed(
    size: float,
    effective_share: float = 1.0,
    share_male: float = 0.5,
    *,
    sexed: bool = False,
    reproduction: str = TWO_SEXES,
) -> int | None:
    """Return the number of adults that give an effective `size`; None for clonal lines, which have none.

    The size is divided by `effective_share` (effective size / adults). When `sexed`, the adults are chosen by sex at
    `share_male`; otherwise they are drawn without looking at the sex and reach the size with a chance of 95 %. For
    hermaphrodites the sexes play no part. Raises ValueError when one sex is missing from `share_male`.
    """
    if reproduction == CLONAL:
        return None
    wanted = size / effective_share
    if reproduction == HERMAPHRODITE:
        return whole_above(wanted)
    if not 0 < share_male < 1:
        raise ValueError(f"The share of males is {share_male:g}, so one sex is missing. Give a share between 0 and 1.")
    if sexed:
        return animals_needed_sexed(wanted, share_male)
    return animals_needed_unsexed(wanted, share_male)


@dataclass(frozen=True)
class Advice:
    """Settings of the genetic advice: inbreeding limit (share) over years, allele frequency to keep, effective share.

    Without a generation time (days) they give no number. `binds` makes the genetic number part of the minimum.
    """

    generation_days: float | None
    limit: float = INBREEDING_LIMIT
    years: float = HORIZON_YEARS
    allele_frequency: float = ALLELE_FREQUENCY
    effective_share: float = EFFECTIVE_SHARE
    confidence: float = CONFIDENCE
    binds: bool = False


@dataclass(frozen=True)
class Minimum:
    """The adults and the animals of each sex that must stay, the rule that set the number, why, and genetic advice."""

    number: int
    each_sex: int
    rule: str  # keeper, demographic, sexes or genetic
    why: tuple[str, ...]
    advice: tuple[str, ...] = ()
    advised: int | None = None
    size_needed: float | None = None  # the effective size that the advice asks for


def binding_minimum(
    keeper_number: int | None = None,
    *,
    irreplaceable: bool = False,
    each_sex: int = EACH_SEX_KEPT,
    reproduction: str = TWO_SEXES,
    share_female: float = 0.5,
    advice: Advice | None = None,
) -> Minimum:
    """Return the breeding minimum of a line: the keeper's number, both sexes, and the demographic floor.

    Without a keeper's number it is 20 adults, or 30 in a line that cannot be bought again. The genetic numbers are
    advice; they bind only if the keeper says so (`advice.binds`). Clonal and hermaphrodite lines skip the sexes.
    """
    usual = ADULTS_KEPT_IRREPLACEABLE if irreplaceable else ADULTS_KEPT
    keeper = usual if keeper_number is None else keeper_number
    mark = f" ({KEEPER_DEFAULT})" if keeper_number is None else ""
    sexes = each_sex if reproduction == TWO_SEXES else 0
    floor = demographic_floor(share_female) if reproduction == TWO_SEXES else floor_without_sexes()
    advised, size, words = _advised(advice, reproduction, share_female)
    rules = {"keeper": keeper, "sexes": 2 * sexes, "demographic": floor or 0}
    if advice is not None and advice.binds and advised is not None:
        rules["genetic"] = advised
    rule = max(rules, key=lambda name: rules[name])
    why = [f"{keeper} adults stay, the keeper's number{mark}."]
    if sexes:
        why.append(f"At least {sexes} males and {sexes} females stay ({KEEPER_DEFAULT}).")
    if floor is not None:
        why.append(f"Under {floor} adults a line may end by bad luck alone, with a chance of about 1 in 20 or more.")
    if rule == "genetic":
        why.append(f"The keeper lets the genetic number bind: {advised} adults.")
    return Minimum(rules[rule], sexes, rule, tuple(why), words, advised, size)


Advised = tuple[int | None, float | None, tuple[str, ...]]  # adults, effective size, words


def _advised(advice: Advice | None, reproduction: str, share_female: float) -> Advised:
    if advice is None:
        return None, None, ()
    if reproduction == CLONAL:
        return None, None, ("A clonal line has no inbreeding, so there is no genetic number.",)
    if reproduction == TWO_SEXES and not 0 < share_female < 1:
        reason = f"With a share of females of {share_female:g} one sex is missing, so there is no genetic number."
        return None, None, (reason,)
    if not advice.generation_days:
        return (
            None,
            None,
            ("The generation time is not in the book, so there is no genetic number. Write it on the species' page.",),
        )
    size = effective_size_needed(advice.limit, advice.years, advice.generation_days)
    needed = breeders_needed(size, advice.effective_share, 1 - share_female, reproduction=reproduction) or 0
    keeps = animals_needed_for_allele(advice.allele_frequency, advice.confidence)
    words = (
        f"To keep inbreeding under {advice.limit:.0%} for {advice.years:g} years takes an effective size of "
        f"{size:.1f}, so {needed} adults if {advice.effective_share:.0%} of the adults count (judgment).",
        f"{keeps} breeders keep an allele of frequency {advice.allele_frequency:g} with a chance of "
        f"{advice.confidence:.0%}.",
    )
    return max(needed, keeps), size, words


@dataclass(frozen=True)
class KnownSexes:
    """Animals known by sex; in a form that only one sex shows, the other sex is known by its tub of origin."""

    males: int
    females: int


@dataclass(frozen=True)
class SexedSale:
    """Whether a sexed sale may go ahead, the animals and the effective size it leaves, and why not."""

    allowed: bool
    left: KnownSexes
    size_left: float
    why: tuple[str, ...] = ()


def sexed_sale(
    known: KnownSexes,
    wanted: KnownSexes,
    *,
    promised: KnownSexes = KnownSexes(0, 0),  # noqa: B008 - frozen
    each_sex: int = EACH_SEX_KEPT,
    size_kept: float = 0.0,
    unsexed: int = 0,
    share_female: float = 0.5,
    reproduction: str = TWO_SEXES,
    shown_by: str = "both",
) -> SexedSale:
    """Return whether a sale by sex leaves the line its sexes and its effective size.

    `known` is the animals surely there by sex and origin, `promised` those already promised by sex, and `size_kept` the
    effective size that must stay (0: none). `unsexed` more adults are surely there; they count toward that size by
    `share_female`, but never as males or females. The sale is judged by what it leaves; when a sex is already short,
    nothing is sold by sex.
    """
    left = KnownSexes(known.males - promised.males - wanted.males, known.females - promised.females - wanted.females)
    others_female = unsexed * share_female
    size = effective_size(max(0, left.males) + unsexed - others_female, max(0, left.females) + others_female)
    if reproduction != TWO_SEXES:
        enough = left.males >= 0 and left.females >= 0
        return SexedSale(enough, left, size, () if enough else ("That many are not known to be there.",))
    why = []
    for sex, here, asked in (
        ("males", known.males - promised.males, wanted.males),
        ("females", known.females - promised.females, wanted.females),
    ):
        if here - asked < each_sex:
            why.append(_too_few(sex, here, asked, each_sex))
            why.extend(_plain_sex(sex, shown_by))
    if size + 1e-9 < size_kept and not why:
        others = f" and {unsexed} of unknown sex" if unsexed else ""
        both = f"{number_text(left.males, 'males')} and {number_text(left.females, 'females')}"
        why.append(
            f"{both}{others} would be left, an effective size of {size:.1f}; "
            f"{size_kept:.1f} must stay. Sell fewer of the rarer sex."
        )
    return SexedSale(not why, left, size, tuple(why))


def _too_few(sex: str, here: int, asked: int, each_sex: int) -> str:
    here = max(0, here)  # more may be promised by sex than are still known
    if not asked:
        known = f"{number_text(here, sex)} {is_or_are(here)} known to be there"
        return f"{known} and {each_sex} must stay. Sex more animals before selling by sex."
    spare = max(0, here - each_sex)
    spared = f"Only {number_text(spare, sex)}" if spare else f"No {sex}"
    return f"{spared} can be spared: {here} known to be there and not promised, {each_sex} kept back."


def _plain_sex(sex: str, shown_by: str) -> tuple[str, ...]:
    if shown_by in ("both", sex):
        return ()
    return (f"The {sex} of this line look plain but carry the form: they stay by origin, never by looks.",)


def share_showing(showing: int, scorable: int) -> float | None:
    """Return the share that shows a form among the animals that could show it; None when there are none.

    Animals of the sex that never shows it, and animals too young to show it, are not scorable: 60 showing females among
    115 animals with 55 males are a pure line, not 52 %.
    """
    return showing / scorable if scorable > 0 else None


def plain_males_needed(showing_females: int, size: float) -> int | None:
    """Return the males of the line's own origin needed with `showing_females` for an effective `size`, or None."""
    return partners_needed(showing_females, size)


def size_of_minimum(minimum: int, share_female: float, reproduction: str = TWO_SEXES) -> float:
    """Return the effective size 4·s·(1 − s)·N of the adults that must stay, at their usual share of females.

    A sexed sale must leave that size too, or it would upset the balance of the sexes. 0 for lines without two sexes.
    """
    if reproduction != TWO_SEXES:
        return 0.0
    return effective_size(minimum * (1 - share_female), minimum * share_female)
