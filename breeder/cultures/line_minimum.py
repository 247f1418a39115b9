"""How many of a line must stay, why, and what that means: the reserve room's answers for a line of the book."""

from collections.abc import Sequence

from breeder.core.reserve import advice
from breeder.core.reserve.breeding_minimum import Advice, Minimum, binding_minimum, size_of_minimum
from breeder.core.reserve.rotational_mating import TubBreeders
from breeder.core.reserve.sex_ratio import SexedSample, sex_ratio_text
from breeder.cultures.line_stock import StageStock, TubStock
from breeder.cultures.models import Culture
from breeder.species.models import Line

BREEDING = Culture.Purpose.BREEDING


def minimum_of(line: Line) -> Minimum:
    """Return the adults that must stay of a line, and why."""
    return binding_minimum(
        line.adults_kept,
        irreplaceable=line.irreplaceable,
        each_sex=line.each_sex_kept,
        reproduction=line.species.reproduction,
        share_female=float(line.species.share_female),
        advice=Advice(
            generation_days=line.species.generation_days,
            limit=float(line.inbreeding_limit),
            years=line.horizon_years,
            effective_share=float(line.effective_share),
            binds=line.genetics_bind,
        ),
    )


def outlook_of(line: Line, adults: StageStock) -> tuple[str, ...]:
    """Return what the adults of a line mean for its keeping, in sentences."""
    share = float(line.species.share_female)
    kept = advice.KnownBreeders(
        adults=adults.lower,
        males=adults.males,
        females=adults.females,
        reproduction=line.species.reproduction,
        share_female=share,
        shown_by=line.shown_by,
        generation_days=line.species.generation_days,
        effective_share=float(line.effective_share),
        years=line.horizon_years,
        tubs=tuple(_breeders(tub, share) for tub in adults.tubs if tub.purpose == BREEDING and not tub.is_stale),
    )
    return advice.outlook_text(kept, minimum_of(line))


def too_few_tubs(line: Line, purposes: Sequence[str]) -> str:
    """Return a warning where a line that cannot be bought again breeds in fewer than two tubs; empty else.

    `purposes` has the purpose of each of the line's open tubs.
    """
    if not line.is_open:
        return ""
    return advice.too_few_tubs_text(purposes.count(BREEDING), irreplaceable=line.irreplaceable)


def sexes_out_of_share(line: Line, sexed: SexedSample) -> tuple[str, ...]:
    """Return in sentences that a line has too many or too few females, by the adults that were sexed."""
    species = line.species
    share = float(species.share_female)
    return sex_ratio_text(sexed, share, minimum_of(line).number, reproduction=species.reproduction)


def _breeders(tub: TubStock, share_female: float) -> TubBreeders:
    """Return the breeders surely in a tub: as they were sexed, else by the usual share of females."""
    if tub.males is None or tub.females is None:
        return TubBreeders(tub.number, tub.lower * (1 - share_female), tub.lower * share_female)
    return TubBreeders(tub.number, tub.males, tub.females)


def size_kept(line: Line) -> float:
    """Return the effective size that a sexed sale must leave: that of the adults that stay."""
    return size_of_minimum(minimum_of(line).number, float(line.species.share_female), line.species.reproduction)
