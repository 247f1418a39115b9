"""How the young of a species die and grow up between two counts, and where those figures are from."""

from breeder.core.counting.defaults import DAYS_PER_MONTH, YOUNG_MATURE_DAYS, YOUNG_SURVIVAL
from breeder.species.models import Species

USUAL = "common practice, no source"


def mature_days(species: Species) -> int:
    """Return how many days young take to grow up: the species' own, or else the keeper's default."""
    return YOUNG_MATURE_DAYS if species.mature_days is None else species.mature_days


def mature_months(species: Species) -> float:
    """Return the same in months."""
    return mature_days(species) / DAYS_PER_MONTH


def survival(species: Species) -> float:
    """Return the share of the young that live to be adult: the species' own, or else the keeper's default."""
    return YOUNG_SURVIVAL if species.young_survival is None else float(species.young_survival)


def figures(species: Species) -> str:
    """Return both in words, each with the mark of its evidence."""
    return (
        f"grown in {mature_days(species)} days ({_mark(species, 'mature_days')}), {survival(species):.0%} of them "
        f"living to be ({_mark(species, 'young_survival')})"
    )


def ask_for_figures(species: Species) -> tuple[str, ...]:
    """Return that usual figures stand in for a species' own; nothing where both of its own are filled in."""
    if species.mature_days is not None and species.young_survival is not None:
        return ()
    return (f"Young that were counted are taken to be {figures(species)}. Fill in what you know on the species’ page.",)


def _mark(species: Species, name: str) -> str:
    if getattr(species, name) is None:
        return USUAL
    return str(species.sources.get(name, ["own"])[0])
