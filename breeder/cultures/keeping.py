"""How many of a line must stay, why, and what that means: the reserve room's answers for a line of the book."""

from breeder.cultures.models import Culture
from breeder.cultures.stock import StageStock
from breeder.reserve import outlook
from breeder.reserve.breeders import Advice, Minimum, binding_minimum, size_of_minimum
from breeder.taxa.models import Line


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
    kept = outlook.Kept(
        adults=adults.lower,
        males=adults.males,
        females=adults.females,
        breeding_tubs=sum(tub.purpose == Culture.Purpose.BREEDING for tub in adults.tubs),
        irreplaceable=line.irreplaceable,
        reproduction=line.species.reproduction,
        share_female=float(line.species.share_female),
        shown_by=line.shown_by,
        generation_days=line.species.generation_days,
        effective_share=float(line.effective_share),
    )
    return outlook.outlook(kept, minimum_of(line))


def size_kept(line: Line) -> float:
    """Return the effective size that a sexed sale must leave: that of the adults that stay."""
    return size_of_minimum(minimum_of(line).number, float(line.species.share_female), line.species.reproduction)
