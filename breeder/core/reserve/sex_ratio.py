"""An alarm when the sexed adults of a line show too many or too few females."""

from __future__ import annotations

from dataclasses import dataclass

from breeder.core.counting.methods.visual import wilson

from .breeding_minimum import TWO_SEXES
from .defaults import FEW_EXPECTED, SEX_RATIO_CONFIDENCE
from .effective_size import effective_size

DAUGHTERS_OF_BACTERIA = "70% to 80%"  # females of mothers with Wolbachia: Rigaud & Moreau 2004, Proc. R. Soc. B


@dataclass(frozen=True)
class SexedSample:
    """Males and females among the sexed adults, and whether some were taken out by sex before."""

    males: int
    females: int
    taken_by_sex: bool = False


def sex_ratio_text(
    sexed: SexedSample, share_female: float, minimum: int, *, reproduction: str = TWO_SEXES
) -> tuple[str, ...]:
    """Return sentences about an unusual sex ratio; empty while the sample is compatible with the usual share.

    The ratio is unusual when the usual share is outside the two-sided 95 % Wilson interval of the females among the
    sexed adults. When fewer than 5 of the rarer sex are expected, the sample is too small to judge. Assumes animals
    taken as they come, none chosen for its sex. The text also gives the effective size of the `minimum` adults that
    stay at both shares. Source: Wilson 1927, J. Am. Stat. Assoc. 22:209.
    """
    number = sexed.males + sexed.females
    if reproduction != TWO_SEXES or round(number * min(share_female, 1 - share_female), 6) < FEW_EXPECTED:
        return ()
    low, high = wilson(sexed.females, number, (1 + SEX_RATIO_CONFIDENCE) / 2)
    if low <= share_female <= high:
        return ()
    share, many = sexed.females / number, "many" if low > share_female else "few"
    usual, now = (effective_size(minimum * (1 - ratio), minimum * ratio) for ratio in (share_female, share))
    return (
        f"Too {many} females: {sexed.females} of {number} adults sexed ({share:.0%}; {low:.0%} to {high:.0%} of all, "
        f"{SEX_RATIO_CONFIDENCE:.0%} sure), and {share_female:.0%} is usual.",
        f"At such a share the {minimum} adults that stay are worth {now:.1f} for breeding instead of {usual:.1f}.",
        _what_to_do(sexed, "males" if many == "many" else "females"),
    )


def _what_to_do(sexed: SexedSample, rarer: str) -> str:
    if sexed.taken_by_sex:
        return f"Animals were taken out by sex before, which may be why. Keep the {rarer} until the next sexed count."
    lasting = "If it stays so, write the share on the species’ page."
    if rarer == "females":
        return f"Keep the females and sex more adults at the next count. {lasting}"
    return (
        "Keep the males, and sex the young of one mother when they are grown: bacteria that turn sons into daughters "
        f"leave {DAUGHTERS_OF_BACTERIA} females. {lasting}"
    )
