"""The starter set: complete, marked, by the Code's rules, and never in the way of the keeper's own values."""

import re
from decimal import Decimal
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from breeder.base.models import LogRow
from breeder.core.reserve import sex_ratio
from breeder.management import server
from breeder.species import actions, species_fields
from breeder.species.models import Mark, Species
from breeder.species.starter_set import earlier_rows, starter_set

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
LIMITS = ("comfort_low_c", "comfort_high_c", "hard_low_c", "hard_high_c")
MCQUEEN = "McQueen & Carnio 1974, Can J Zool 52:599"
FOUNTAIN = "Fountain & Hopkin 2005, Annu Rev Entomol 50:201"

# Limits of which more is known than the band: the value, its mark, and the source by name.
KNOWN_BETTER = {
    # Juveniles and adults live from 0 to 35 °C, small young from 10 to 35 °C (abstract).
    ("Porcellio spinicornis", "hard_low_c"): (0, "measured", MCQUEEN),
    ("Porcellio spinicornis", "hard_high_c"): (35, "measured", MCQUEEN),
    ("Porcellio spinicornis", "comfort_low_c"): (10, "measured", MCQUEEN),
    # More die at 28 °C than at 20 °C over two weeks (project abstract).
    ("Porcellio scaber", "comfort_high_c"): (28, "common practice", "Senckenberg"),
    # No egg hatches above 28 °C (review, quoted).
    ("Folsomia candida", "comfort_high_c"): (28, "second hand", FOUNTAIN),
    # 78 °F is 25.6 °C: common practice, no source.
    ("Oniscus asellus", "comfort_high_c"): (26, "common practice", "78 °F"),
}
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
    for field, usual in zip(LIMITS, BANDS[one.values["band"]], strict=True):
        if (name, field) not in KNOWN_BETTER:
            assert (one.values[field], one.sources[field][0]) == (usual, Mark.PRACTICE), field
    assert set(species_fields.FIELDS) - one.values.keys() <= {"secretes", "authorship", *species_fields.KEEPING}


@pytest.mark.parametrize(("which", "expected"), KNOWN_BETTER.items(), ids=map("-".join, KNOWN_BETTER))
def test_a_limit_that_is_known_better_than_its_band_is_that_of_its_source(
    which: tuple[str, str], expected: tuple[int, str, str]
) -> None:
    (name, field), (value, mark, source) = which, expected
    assert SET[name].values[field] == value
    assert SET[name].sources[field][0] == mark
    assert source in SET[name].sources[field][1]


def test_all_species_of_brandt_bear_one_year() -> None:
    """1833: Cifuentes & Da Silva 2024, Eur J Taxon 939:32 (pruinosus); Brum & Araujo 2007, title (dilatatus)."""
    authors = {one.values.get("authorship", "").strip("()") for one in SET.values()}
    assert {author for author in authors if author.startswith("Brandt")} == {"Brandt, 1833"}


def test_the_paper_on_daughters_names_its_first_author_first() -> None:
    """Rigaud & Moreau 2004, Proc. R. Soc. B."""
    text = (Path(sex_ratio.__file__)).read_text("utf-8")
    assert "Rigaud & Moreau 2004" in text
    assert "Moreau & Rigaud" not in text


@pytest.mark.parametrize("name", sorted(SET))
def test_a_species_is_kept_within_what_it_stands_and_within_what_it_breeds_at(name: str) -> None:
    values = SET[name].values
    assert values["hard_low_c"] < values["keeping_low_c"] < values["keeping_high_c"] < values["hard_high_c"]
    assert {"moisture", "food"} <= values.keys()


def test_calcium_is_not_known_of_springtails_and_roaches() -> None:
    """Nothing was found for them; woodlice and millipedes have a shell of lime."""
    assert {one.values["group"] for one in SET.values() if "calcium" not in one.values} == {"springtail", "roach"}
    assert {one.values["group"] for one in SET.values() if "calcium" in one.values} == {"isopod", "millipede"}


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
        ("Porcellio spinicornis", "keeping_low_c", Decimal("17.5"), "measured", MCQUEEN),
        ("Porcellio spinicornis", "keeping_high_c", Decimal("27.5"), "measured", MCQUEEN),
        ("Porcellio spinicornis", "moisture", "humid air where they hide, 95 ± 3 %", "measured", MCQUEEN),
        ("Cubaris murina", "keeping_low_c", 26, "second hand", "Niemeyer et al. 2009, Braz J Biol 69:137"),
        ("Cubaris murina", "keeping_high_c", 30, "second hand", "Niemeyer et al. 2009, Braz J Biol 69:137"),
        ("Folsomia candida", "keeping_low_c", 15, "second hand", FOUNTAIN),
        ("Folsomia candida", "keeping_high_c", 21, "second hand", FOUNTAIN),
        ("Folsomia candida", "food", "granulated dry yeast", "second hand", FOUNTAIN),
        ("Archispirostreptus gigas", "keeping_low_c", Decimal("18.3"), "second hand", "65–80 °F"),
        ("Archispirostreptus gigas", "keeping_high_c", Decimal("26.7"), "second hand", "65–80 °F"),
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


def as_loaded_before() -> None:
    """Put the starter set into the book as the earlier sheet had it, from the rows it held then."""
    actions.load_starter_set()
    for species in Species.objects.all():
        for row in earlier_rows():
            if (row.scientific_name, row.qualifier) == (species.scientific_name, species.qualifier):
                setattr(species, row.field, row.value)
                species.sources[row.field] = [row.mark, row.source]
        for name in species_fields.KEEPING:
            setattr(species, name, None if name in species_fields.DEGREES else "")
            species.sources.pop(name, None)
        species.save()


def held(name: str) -> Species:
    return Species.objects.get(scientific_name=name, qualifier="")


@pytest.mark.django_db
class TestCorrecting:
    def test_a_book_loaded_before_reads_like_one_loaded_now(self) -> None:
        as_loaded_before()
        assert held("Porcellio spinicornis").hard_high_c == 36
        assert held("Porcellio dilatatus").authorship == "Brandt, 1831"
        assert actions.correct_starter_set() == len(SET)
        for species in Species.objects.all():
            starter = SET[str(species)]
            assert {name: getattr(species, name) for name in starter.values} == starter.values
            assert species.sources == starter.sources
        said = LogRow.objects.get(did="species corrected", about="Porcellio scaber").sentence
        assert "comfort to was 29 °C, now 28 °C; new: kept from, kept to, moisture, food, calcium." in said
        assert actions.correct_starter_set() == 0

    def test_every_start_corrects_and_the_command_says_so(self) -> None:
        as_loaded_before()
        assert server.bring_up_to_date() == len(SET)
        assert held("Oniscus asellus").comfort_high_c == 26
        as_loaded_before()
        said = StringIO()
        call_command("load_species", stdout=said)
        assert said.getvalue().startswith(f"{len(SET)} species corrected")

    @pytest.mark.parametrize(("mark", "source"), [("", ""), ("measured", "Reed 2025, J Moss 1:1")])
    def test_a_value_of_the_keepers_stays_even_where_it_is_the_same_number(self, mark: str, source: str) -> None:
        as_loaded_before()
        scaber = held("Porcellio scaber")
        actions.edit_species(scaber.pk, {"comfort_high_c": Decimal(27)}, by=None)
        typed = {"comfort_high_c": Decimal(29), "food": "acorns"}
        actions.edit_species(scaber.pk, typed, by=None, mark=mark, source=source)
        own = dict(held("Porcellio scaber").sources)
        actions.correct_starter_set()
        scaber = held("Porcellio scaber")
        assert (scaber.comfort_high_c, scaber.food) == (29, "acorns")
        assert (scaber.sources["comfort_high_c"], scaber.sources["food"]) == (own["comfort_high_c"], own["food"])
        assert scaber.calcium == SET["Porcellio scaber"].values["calcium"]

    def test_what_the_keeper_emptied_stays_empty(self) -> None:
        actions.load_starter_set()
        actions.edit_species(held("Porcellio scaber").pk, {"calcium": "", "keeping_low_c": None}, by=None)
        assert actions.correct_starter_set() == 0
        scaber = held("Porcellio scaber")
        assert (scaber.calcium, scaber.keeping_low_c) == ("", None)
        assert scaber.sources["calcium"] == ["own", "your own record"]

    def test_a_limit_that_would_contradict_the_keepers_is_left_alone(self) -> None:
        as_loaded_before()
        actions.edit_species(held("Porcellio spinicornis").pk, {"comfort_high_c": Decimal("35.5")}, by=None)
        actions.correct_starter_set()
        kept = held("Porcellio spinicornis")
        assert [getattr(kept, name) for name in species_fields.LIMITS] == [0, 7, Decimal("35.5"), 36]
        assert kept.keeping_low_c == Decimal("17.5")

    def test_a_species_typed_by_the_keeper_is_not_filled_in(self) -> None:
        values = {"scientific_name": "Porcellio scaber", "group": "isopod", "food": ""}
        limits = dict(zip(LIMITS, map(Decimal, BANDS["temperate"]), strict=True))
        actions.add_species(values | limits, by=None)
        assert actions.correct_starter_set() == 0
        assert held("Porcellio scaber").food == ""
