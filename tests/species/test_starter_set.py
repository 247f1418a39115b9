"""The starter set: complete, marked, by the Code's rules, and never in the way of the keeper's own values."""

import re
from decimal import Decimal
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from breeder.base.models import LogRow
from breeder.species import actions, species_fields
from breeder.species.models import Mark, Species
from breeder.species.starter_set import starter_set

WANTED = {
    "Armadillidium vulgare", "Armadillidium nasatum", "Armadillidium maculatum", "Cubaris murina", "Cubaris sp.",
    "Oniscus asellus", "Porcellio dilatatus", "Porcellio laevis", "Porcellio scaber", "Porcellionides pruinosus",
    "Trichorhina tomentosa", "Folsomia candida", "Archispirostreptus gigas", "Gromphadorhina portentosa",
}  # fmt: skip

# Genus of the original description, from memory: in brackets exactly where it differs from the present one.
DESCRIBED_IN = {
    "Armadillidium vulgare": "Armadillo",
    "Armadillidium nasatum": "Armadillidium",
    "Armadillidium maculatum": "Armadillo",
    "Porcellio scaber": "Porcellio",
    "Porcellio laevis": "Porcellio",
    "Porcellionides pruinosus": "Porcellio",
    "Oniscus asellus": "Oniscus",
    "Cubaris murina": "Cubaris",
    "Folsomia candida": "Folsomia",
    "Archispirostreptus gigas": "Spirostreptus",
    "Blaptica dubia": "Blabera",
    "Gromphadorhina portentosa": "Hormetica",
}
BANDS = {"temperate": (7, 29, 0, 36), "tropical": (13, 29, 8, 35)}  # keeper defaults: common practice, no source
SET = {f"{one.scientific_name} {one.qualifier}".strip(): one for one in starter_set()}


def test_the_set_holds_what_the_trade_keeps() -> None:
    assert SET.keys() >= WANTED


@pytest.mark.parametrize("name", sorted(SET))
def test_every_value_has_a_mark_and_a_source_or_an_honest_one(name: str) -> None:
    one = SET[name]
    assert one.values.keys() == one.sources.keys()
    for mark, source in one.sources.values():
        assert mark in Mark.values
        assert source or mark == Mark.MEMORY, f"{name}: {mark} without a word of where from"
        assert mark != Mark.MEASURED or re.search(r"\b(19|20)\d\d\b|thesis", source), source


@pytest.mark.parametrize("name", sorted(SET))
def test_every_species_is_whole_and_lies_in_its_band(name: str) -> None:
    one = SET[name]
    Species(
        scientific_name=one.scientific_name, qualifier=one.qualifier, sources=one.sources, **one.values
    ).clean_fields()
    limits = tuple(one.values[f] for f in ("comfort_low_c", "comfort_high_c", "hard_low_c", "hard_high_c"))
    assert limits == BANDS[one.values["band"]]
    assert one.sources["comfort_low_c"][0] == Mark.PRACTICE
    assert set(species_fields.FIELDS) - one.values.keys() <= {"secretes", "authorship"}


@pytest.mark.parametrize(("name", "genus"), DESCRIBED_IN.items())
def test_authors_stand_in_brackets_only_where_the_genus_changed(name: str, genus: str) -> None:
    """ICZN, 4th edition, Article 51.3."""
    authorship = SET[name].values["authorship"]
    assert authorship.startswith("(") == (genus != name.split()[0])
    assert re.fullmatch(r"\(?[\w-]+, \d{4}\)?", authorship)


def test_an_undetermined_species_has_its_sp_in_its_own_field_and_no_author() -> None:
    assert (SET["Cubaris sp."].scientific_name, SET["Cubaris sp."].qualifier) == ("Cubaris", "sp.")
    assert "authorship" not in SET["Cubaris sp."].values


def test_clonal_species_have_only_females() -> None:
    """Trichorhina tomentosa and Folsomia candida: only females known (second hand; Fountain & Hopkin 2005)."""
    clonal = [one for one in SET.values() if one.values["reproduction"] == "clonal"]
    assert {one.scientific_name for one in clonal} == {"Trichorhina tomentosa", "Folsomia candida"}
    assert {one.values["share_female"] for one in clonal} == {Decimal(1)}


@pytest.mark.parametrize(
    ("name", "field", "value", "mark", "source"),
    [
        ("Armadillidium vulgare", "brood", 27, "measured", "Waller & Verdi 2016, Int J Biol 8(4):12"),
        ("Armadillidium nasatum", "brood", 21, "measured", "Waller & Verdi 2016, Int J Biol 8(4):12"),
        ("Cubaris murina", "brood", 25, "measured", "Niemeyer, Santos, Araújo & da Silva 2009, Braz J Biol 69:137"),
        ("Cubaris murina", "share_female", Decimal("0.5"), "measured", "Niemeyer"),
        ("Armadillidium vulgare", "generation_days", 245, "measured", "thesis"),
        ("Folsomia candida", "mature_days", 22, "second hand", "Fountain & Hopkin 2005, Annu Rev Entomol 50:201"),
        ("Archispirostreptus gigas", "secretes", "quinones (irritating; stain skin)", "from memory", ""),
    ],
)
def test_cited_values_are_those_of_the_source(name: str, field: str, value: object, mark: str, source: str) -> None:
    assert SET[name].values[field] == value
    assert SET[name].sources[field][0] == mark
    assert source in SET[name].sources[field][1]


def test_a_row_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    bad = tmp_path / "species.csv"
    bad.write_text("scientific_name,qualifier,field,value,mark,source\nA b,,brood,many,measured,x\n")
    with pytest.raises(ValueError, match=r"species.csv, row 2 \(brood\)"):
        starter_set(bad)


@pytest.mark.django_db
class TestLoading:
    def test_it_loads_once_and_leaves_the_keepers_values_alone(self) -> None:
        assert actions.load_starter_set() == len(SET)
        one = Species.objects.get(scientific_name="Porcellio scaber")
        actions.edit_species(one.pk, {"brood": Decimal("31")}, by=None)
        Species.objects.filter(scientific_name="Oniscus asellus").delete()
        assert actions.load_starter_set() == 1
        one.refresh_from_db()
        assert (one.brood, one.sources["brood"]) == (Decimal("31"), ["own", "your own record"])

    def test_the_command_says_what_it_did(self) -> None:
        first, second = StringIO(), StringIO()
        call_command("load_species", stdout=first)
        call_command("load_species", stdout=second)
        assert first.getvalue().strip() == f"{len(SET)} species added."
        assert "in the book already" in second.getvalue()
        assert LogRow.objects.filter(did="species loaded").count() == 1

    def test_the_database_takes_every_species_as_it_stands_in_the_sheet(self) -> None:
        actions.load_starter_set()
        for kept in Species.objects.all():
            kept.full_clean()
            starter = SET[str(kept)]
            assert {name: getattr(kept, name) for name in starter.values} == starter.values
