"""Pages of species and lines: what the keeper, the helper and a stranger meet."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from breeder.base import form_tokens
from breeder.base.models import Setting
from breeder.species import actions, queries
from breeder.species.forms import SpeciesForm
from breeder.species.models import Line, Species
from tests import build

pytestmark = pytest.mark.django_db


@pytest.fixture
def starter() -> None:
    actions.load_starter_set()


def typed_for(species: Species, **changed: Any) -> dict[str, Any]:
    form = SpeciesForm(instance=species, household=Setting())
    typed = {name: form[name].value() for name in form.fields}
    return {name: "" if value is None else value for name, value in typed.items()} | changed


@pytest.mark.usefixtures("starter")
class TestReading:
    def test_the_list_narrows_sorts_and_keeps_strangers_out(self, client: Client, helper_client: Client) -> None:
        url = reverse("species:species_list")
        assert client.get(url).status_code == 302
        text = helper_client.get(url, {"band": "tropical", "group": "isopod", "sort": "-species"}).content.decode()
        assert "3 in the book" in text
        assert text.index("Trichorhina") < text.index("murina")
        assert "scaber" not in text
        assert "13 to 29 °C" in text

    def test_species_are_listed_by_name(self) -> None:
        names = [one.scientific_name for one in queries.species_list()]
        assert names == sorted(names)

    def test_a_search_for_nothing_or_for_rubbish_answers(self, helper_client: Client) -> None:
        url = reverse("species:species_list")
        assert "No species by that name" in helper_client.get(url, {"q": "kraken"}).content.decode()
        assert helper_client.get(url, {"q": "a\x00b", "group": "dragon"}).status_code == 200

    def test_the_csv_holds_the_list_under_darwin_core_names(self, keeper_client: Client) -> None:
        text = keeper_client.get(reverse("species:species_list"), {"q": "murina", "csv": ""}).content.decode(
            "utf-8-sig"
        )
        assert text.splitlines()[0].startswith("scientificName,identificationQualifier,")
        assert len(text.splitlines()) == 2

    def test_a_value_stands_beside_its_mark_and_source(self, helper_client: Client) -> None:
        one = Species.objects.get(scientific_name="Armadillidium vulgare")
        text = helper_client.get(reverse("species:species", args=[one.pk])).content.decode()
        for said in ("7 to 29 °C", "published measurement", "Waller &amp; Verdi 2016", "common practice, no source"):
            assert said in text
        assert "(Latreille, 1804)" in text

    def test_how_a_species_is_kept_is_shown_to_the_tenth_with_its_source_or_as_not_known(
        self, helper_client: Client
    ) -> None:
        """Females breed only from 17.5 to 27.5 °C: McQueen & Carnio 1974, Can J Zool 52:599–611."""
        facts = {}
        for name in ("Porcellio spinicornis", "Folsomia candida"):
            one = Species.objects.get(scientific_name=name)
            sections = helper_client.get(reverse("species:species", args=[one.pk])).context["sections"]
            facts[name] = {fact.label: fact for fact in dict(sections)["The tub"]}
        kept = facts["Porcellio spinicornis"]
        assert (kept["Kept from"].value, kept["Kept to"].value) == ("17.5 °C", "27.5 °C")
        assert kept["Kept from"].mark_words == "published measurement"
        assert "McQueen & Carnio 1974" in kept["Kept from"].source
        calcium = facts["Folsomia candida"]["Calcium"]
        assert (calcium.value, calcium.is_known, calcium.source) == ("not known", False, "")

    def test_limits_are_shown_in_the_households_unit(self, helper_client: Client) -> None:
        Setting.objects.create(fahrenheit=True, inches=True)
        one = Species.objects.get(scientific_name="Cubaris murina")
        text = helper_client.get(reverse("species:species", args=[one.pk])).content.decode()
        assert "55 to 84 °F" in text
        assert "46 °F" in text  # 8 °C
        assert "0.6 in" in text  # 14 mm

    def test_what_stains_and_stings_is_said(self, helper_client: Client) -> None:
        one = Species.objects.get(scientific_name="Archispirostreptus gigas")
        assert "Gives off quinones" in helper_client.get(reverse("species:species", args=[one.pk])).content.decode()

    def test_the_number_of_queries_does_not_grow_with_the_list(
        self, helper_client: Client, django_assert_max_num_queries: Any
    ) -> None:
        for number in range(40):
            build.line(f"Form {number}", of=build.species(f"Porcellio nr{number}"))
        with django_assert_max_num_queries(9):
            helper_client.get(reverse("species:species_list"))


@pytest.mark.usefixtures("starter")
class TestEditing:
    def test_a_changed_value_becomes_the_keepers_own_and_the_others_keep_their_source(
        self, keeper_client: Client
    ) -> None:
        one = Species.objects.get(scientific_name="Porcellio scaber")
        before = one.sources
        typed = typed_for(one, brood="31", token=form_tokens.new_token())
        assert keeper_client.post(reverse("species:species_edit", args=[one.pk]), typed).status_code == 302
        one.refresh_from_db()
        assert one.brood == 31
        assert one.sources == before | {"brood": ["own", "your own record"]}

    def test_a_named_source_goes_with_the_change(self, keeper_client: Client) -> None:
        one = Species.objects.get(scientific_name="Porcellio scaber")
        typed = typed_for(one, brood="28", source="Marsh 2024, J Woodlice 1:2", mark="measured")
        keeper_client.post(reverse("species:species_edit", args=[one.pk]), typed)
        one.refresh_from_db()
        assert one.sources["brood"] == ["measured", "Marsh 2024, J Woodlice 1:2"]

    def test_in_fahrenheit_an_untouched_form_changes_nothing(self, keeper_client: Client) -> None:
        Setting.objects.create(fahrenheit=True)
        one = Species.objects.get(scientific_name="Porcellio scaber")
        form = SpeciesForm(instance=one, household=Setting(fahrenheit=True))
        typed = {name: "" if form[name].value() is None else form[name].value() for name in form.fields}
        assert typed["comfort_high_c"] == "82.4"
        before = Species.objects.filter(pk=one.pk).values().get()
        assert keeper_client.post(reverse("species:species_edit", args=[one.pk]), typed).status_code == 302
        assert Species.objects.filter(pk=one.pk).values().get() == before

    @pytest.mark.parametrize(
        ("changed", "said"),
        [
            ({"keeping_low_c": "26", "keeping_high_c": "20"}, "‘Kept to, °C’ is 20, but ‘Kept from, °C’ is 26"),
            ({"keeping_low_c": "68"}, "If 68 °F was meant, write 20.0."),
            ({"comfort_high_c": "80"}, "If 80 °F was meant, write 26.7."),
            ({"comfort_low_c": "20", "comfort_high_c": "16"}, "is 16, but ‘Comfort from, °C’ is 20"),
            ({"hard_low_c": "9"}, "is 7, but ‘Never below, °C’ is 9"),
            ({"share_female": "150"}, "it lies between 0 and 100 %"),
            ({"brood": "-3"}, "‘Young in a brood’ is -3; the smallest it can be is 0."),
            ({"mature_days": "soon"}, "which is not a whole number"),
            ({"hours_allowed": "500"}, "the largest it can be is 96"),
            ({"scientific_name": ""}, "is empty. Fill it in."),
            ({"group": "dragon"}, "not in the list"),
            ({"vernacular_name": "a\x00b"}, "a sign that cannot be kept"),
            ({"scientific_name": "Porcellio laevis"}, "is in the book already"),
        ],
    )
    def test_a_bad_value_gets_a_sentence_and_what_was_typed_stays(
        self, keeper_client: Client, changed: dict[str, str], said: str
    ) -> None:
        one = Species.objects.get(scientific_name="Porcellio scaber")
        before = Species.objects.filter(pk=one.pk).values().get()
        typed = typed_for(one, source="Some Journal 12:3") | changed
        answer = keeper_client.post(reverse("species:species_edit", args=[one.pk]), typed)
        assert answer.status_code == 422
        assert said in answer.content.decode()
        assert "Some Journal 12:3" in answer.content.decode()
        assert Species.objects.filter(pk=one.pk).values().get() == before

    def test_a_new_species_is_added_with_its_values_as_own_record(self, keeper_client: Client) -> None:
        like = Species.objects.get(scientific_name="Porcellio scaber")
        typed = typed_for(like, scientific_name="Porcellio ornatus", authorship="Milne-Edwards, 1840")
        assert keeper_client.post(reverse("species:species_new"), typed).status_code == 302
        one = Species.objects.get(scientific_name="Porcellio ornatus")
        own = {name for name, entry in one.sources.items() if entry == ["own", "your own record"]}
        assert {"authorship", "group", "comfort_low_c", "brood"} <= own
        assert one.sources["hours_allowed"] == ["common practice", "the usual value, taken since nobody typed one"]
        assert "secretes" not in one.sources

    @pytest.mark.parametrize(("band", "limits"), [("temperate", (7, 29, 0, 36)), ("tropical", (13, 29, 8, 35))])
    def test_limits_left_empty_are_the_usual_ones_of_the_band(
        self, keeper_client: Client, band: str, limits: tuple[int, ...]
    ) -> None:
        typed = typed_for(Species(scientific_name="Porcellio bolivari", group="isopod", band=band))
        typed |= dict.fromkeys(("comfort_low_c", "comfort_high_c", "hard_low_c", "hard_high_c"), "")
        assert keeper_client.post(reverse("species:species_new"), typed | {"hard_high_c": "34"}).status_code == 302
        one = Species.objects.get(scientific_name="Porcellio bolivari")
        assert (one.comfort_low_c, one.comfort_high_c, one.hard_low_c) == limits[:3]
        assert one.sources["comfort_low_c"][0] == "common practice"
        assert (one.hard_high_c, one.sources["hard_high_c"][0]) == (34, "own")

    def test_editing_belongs_to_the_keeper(self, helper_client: Client) -> None:
        one, line = Species.objects.first(), build.line()
        for url in (
            reverse("species:species_new"),
            reverse("species:species_edit", args=[one.pk]),
            reverse("species:line_new"),
            reverse("species:line_edit", args=[line.pk]),
        ):
            assert helper_client.get(url).status_code == 403


LINE = {
    "form_name": "Fog", "locality": "", "provenance": "", "status": "kept", "sold_by": "head", "shown_by": "both",
    "not_for_sale": "", "resting_until": "", "adults_kept": "", "young_kept": "", "each_sex_kept": "3",
    "harvest_share": "30", "handling_loss": "0", "confidence": "95", "cups_per_tub": "1", "cup_rest_days": "28",
}  # fmt: skip


class TestLinePages:
    def test_a_line_is_started_with_what_must_stay(self, keeper_client: Client) -> None:
        typed = LINE | {"species": build.species().pk, "irreplaceable": "on", "token": form_tokens.new_token()}
        for _ in range(2):  # the second is a double click
            answer = keeper_client.post(reverse("species:line_new"), typed)
            assert answer["Location"] == reverse("cultures:line", args=[Line.objects.get().pk])
        assert (Line.objects.get().adults_kept, str(Line.objects.get().harvest_share)) == (30, "0.30")

    @pytest.mark.parametrize(
        ("changed", "said"),
        [
            ({"adults_kept": "-4"}, "the smallest it can be is 0"),
            ({"adults_kept": "9999999999"}, "the largest it can be is 100000"),
            ({"harvest_share": "300"}, "it lies between 0 and 100 %"),
            ({"confidence": "20"}, "it lies between 50 and 99 %"),
            ({"resting_until": "next week"}, "which is not a date"),
            ({"species": "99999"}, "not in the list"),
        ],
    )
    def test_a_bad_value_gets_a_sentence(self, keeper_client: Client, changed: dict[str, str], said: str) -> None:
        answer = keeper_client.post(reverse("species:line_new"), LINE | {"species": build.species().pk} | changed)
        assert answer.status_code == 422
        assert said in answer.content.decode()
        assert 'value="Fog"' in answer.content.decode()
        assert not Line.objects.exists()

    def test_a_lowered_minimum_asks_why_beside_the_reason(self, keeper_client: Client) -> None:
        line = build.line("Fog")
        typed = LINE | {"adults_kept": "5", "young_kept": "20"}
        url = reverse("species:line_edit", args=[line.pk])
        answer = keeper_client.post(url, typed)
        assert answer.status_code == 422
        assert "falls from 20 to 5. Say why under ‘reason’" in answer.content.decode()
        assert keeper_client.post(url, typed | {"reason": "Sold the colony whole"}).status_code == 302
        line.refresh_from_db()
        assert line.adults_kept == 5

    def test_another_line_of_the_same_name_is_refused(self, keeper_client: Client) -> None:
        build.line("Fog")
        other = build.line("Ash")
        answer = keeper_client.post(
            reverse("species:line_edit", args=[other.pk]), LINE | {"adults_kept": "20", "young_kept": "20"}
        )
        assert answer.status_code == 422
        assert "bears this form and locality already" in answer.content.decode()
