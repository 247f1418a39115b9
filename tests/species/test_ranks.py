"""The taxa that cover a species: genus, family, order, class and above."""

import pytest

from breeder.species.classification import ABOVE, covering_taxa, is_determined
from breeder.species.models import Species
from breeder.species.starter_set import starter_set


def species(name: str, **values: str) -> Species:
    return Species(scientific_name=name, **values)


@pytest.mark.parametrize(
    ("name", "group", "family", "order", "covering"),
    [
        # Ruggiero et al. 2015, PLoS ONE 10(4): e0119248 (from memory).
        ("Porcellio scaber", "isopod", "Porcellionidae", "Isopoda", ["Porcellio", "Isopoda", "Malacostraca"]),
        ("Folsomia candida", "springtail", "Isotomidae", "Entomobryomorpha", ["Collembola", "Hexapoda"]),
        ("Blaptica dubia", "roach", "Blaberidae", "Blattodea", ["Blaberidae", "Insecta", "Hexapoda", "Arthropoda"]),
        ("Archispirostreptus gigas", "millipede", "", "", ["Diplopoda", "Myriapoda"]),
        ("Cornu aspersum", "snail", "Helicidae", "", ["Gastropoda", "Mollusca"]),
        ("Heterometrus silenus", "other", "", "Scorpiones", ["Arachnida"]),
    ],
)  # fmt: skip
def test_a_species_is_covered_by_the_taxa_above_it(
    name: str, group: str, family: str, order: str, covering: list[str]
) -> None:
    lineage = covering_taxa(species(name, group=group, family=family, order_name=order))
    assert lineage[0] == name
    assert [taxon for taxon in lineage if taxon in covering] == covering


def test_crustaceans_springtails_and_millipedes_are_no_insects() -> None:
    """Why a rule on insects does not cover them: 'isopods and millipedes are not insects'."""
    for group in ("isopod", "springtail", "millipede"):
        assert "Insecta" not in covering_taxa(species("Aaa bbb", group=group))


def test_every_species_of_the_starter_set_is_placed_up_to_the_animals() -> None:
    for entry in starter_set():
        lineage = covering_taxa(
            species(entry.scientific_name, **{k: entry.values[k] for k in ("group", "family", "order_name")})
        )
        assert entry.values["order_name"] in ABOVE
        assert lineage[-1] == "Animalia"


def test_cf_and_sp_are_not_determined() -> None:
    assert is_determined(species("Porcellio scaber"))
    assert not is_determined(species("Porcellio scaber", qualifier="cf."))
    assert not is_determined(species("Cubaris", qualifier="sp."))
