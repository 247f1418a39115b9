"""Kits: what their walls and packs are worth, the example set, dry ice, units of the household."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from breeder.base.models import Setting
from breeder.core.thermal import box
from breeder.shipments import example_kits, kit_figures
from breeder.shipments.actions import bench
from breeder.shipments.forms.kit_form import KitForm
from breeder.shipments.models import Kit, KitPart, Supply
from breeder.shipments.queries import parcels
from breeder.shipments.rules import box_rules
from breeder.shipments.thermal_kit import heat_kit, kit_box
from tests.shipments import boxes

pytestmark = pytest.mark.django_db


def test_the_example_kits_are_written_down_once() -> None:
    assert len(bench.load_example_kits(by=None)) == len(example_kits.KITS) == 10
    # Nothing is counted yet, so the shelf is empty.
    assert set(Supply.objects.values_list("name", "on_shelf")) == {(name, 0) for name in example_kits.SUPPLIES}
    Kit.objects.filter(name="Bare card").update(cost=Decimal("9.00"))
    Supply.objects.filter(name=example_kits.BOX).update(on_shelf=1)
    assert bench.load_example_kits(by=None) == []
    assert Kit.objects.get(name="Bare card").cost == Decimal("9.00")
    assert Supply.objects.get(name=example_kits.BOX).on_shelf == 1
    assert KitPart.objects.count() == sum(len(kit.parts) for kit in example_kits.KITS)


def test_supplies_are_listed_by_name() -> None:
    names = ["Liner", "Box", "Tape", "Cold pack"]
    Supply.objects.bulk_create(Supply(name=name) for name in names)
    assert [supply.name for supply in parcels.supplies()] == sorted(names)


@pytest.mark.parametrize("example", example_kits.KITS, ids=lambda example: example.name)
def test_every_example_kit_can_be_reckoned(example: example_kits.Example) -> None:
    kit = Kit(name=example.name, **example.values())
    figures = kit_figures.kit_worth(kit)
    assert not figures.fault
    assert len(figures.sentences) == 1 + len(kit.packs)


def test_conductances_are_those_of_the_reckoned_reference_box() -> None:
    """Inner 25 × 20 × 15 cm, 4 mm board, films 6 and 8.3 W/m²K (computed, no outside source)."""
    by_name = {example.name: example for example in example_kits.KITS}
    for name, expected in (("Bare card", 0.6849), ("Foam 19 mm", 0.3031), ("Foam 38 mm", 0.2059)):
        kit = Kit(name=name, **by_name[name].values())
        assert box.conductance_w_k(kit_box(kit)) == pytest.approx(expected, abs=0.001)


def test_a_heat_pack_is_worth_its_mean_power_over_the_conductance_less_its_oxygen() -> None:
    """1.476 W mean over 0.303 W/K is 4.9 K; the air holes leave it nearly 9 tenths (computed, no outside source)."""
    kit = Kit(
        name="", **next(example for example in example_kits.KITS if example.name == "Foam 19 mm, 72 h pack").values()
    )
    packed = heat_kit(kit, kit_figures.USUAL_CUPS)
    warmth = kit_figures.pack_warmth(packed)
    degrees = warmth.degrees_k
    assert 0.85 * 1.476 / 0.3031 < degrees < 1.476 / 0.3031
    taped = Kit(
        **{
            **{name: getattr(kit, name) for name in ("inner_m", "layers", "packs", "ballast_kg", "leak_factor")},
            "air_changes_h": 0.15,
        }
    )
    slow = kit_figures.pack_warmth(heat_kit(taped, kit_figures.USUAL_CUPS))
    assert slow.degrees_k < 0.75 * degrees
    # The energy of the printed hours, 98 % of all, is there all the same: fewer degrees for longer.
    for each in (warmth, slow):
        assert each.degrees_k * each.hours * 0.3031 * 3.6 == pytest.approx(0.9808 * 382.5, rel=0.01)
    assert f"for {slow.hours:.0f} hours" in kit_figures.kit_worth(taped).sentences[1]
    assert f"worth {degrees:.1f} °C in this box" in kit_figures.kit_worth(kit).sentences[1]
    assert f"worth {degrees * 1.8:.1f} °F in this box" in kit_figures.kit_worth(kit, fahrenheit=True).sentences[1]


@pytest.mark.parametrize(
    "how", [{"name": "Cold, dry ice"}, {"note": "with UN1845"}, {"packs": [{"kind": "dry_ice", "kg": 1}]}]
)
def test_dry_ice_is_refused_wherever_it_is_named(how: dict[str, Any]) -> None:
    with pytest.raises(ValidationError, match="Dry ice never goes into a box"):
        box_rules.refuse_dry_ice(Kit(**({"name": "Foam"} | how)))
    with pytest.raises(ValidationError, match="Dry ice never"):
        box_rules.refuse_dry_ice(Kit(name="Foam"), ["Dry ice, 1 kg"])
    box_rules.refuse_dry_ice(Kit(name="Foam", note="dry place, ice pack"), ["Gel pack"])


def form_values(**values: Any) -> dict[str, Any]:
    first = {
        "name": "Mine", "cost": "3.50", "air_changes_h": "1.5", "leak_factor": "1", "active": "on",
        "length": "25", "width": "20", "height": "15",
        "material_0": "eps", "mm_0": "19", "material_1": "corrugated", "mm_1": "4",
        "rated_0": "72", "grams_0": "125", "before_0": "1",
        "kg_0": "0.45", "melt_0": "22", "latent_0": "190", "start_0": "20",
    }  # fmt: skip
    return first | values


def kit_of(household: Setting, **values: Any) -> Kit:
    form = KitForm(form_values(**values), household=household)
    assert form.is_valid(), form.errors
    return form.kit()


def test_a_kit_is_kept_as_it_was_written() -> None:
    kit = kit_of(Setting())
    assert kit.inner_m == [0.25, 0.2, 0.15]
    assert kit.layers == [{"material": "eps", "mm": 19.0}, {"material": "corrugated", "mm": 4.0}]
    assert kit.packs == [
        {"kind": "heat", "rated_h": 72.0, "lit_h": -1.0, "grams": 125.0},
        {"kind": "phase_change", "kg": 0.45, "melt_c": 22.0, "latent_kj_kg": 190.0, "start_c": 20.0},
    ]


def test_inches_ounces_and_fahrenheit_give_the_same_kit() -> None:
    metric = kit_of(Setting())
    household = Setting(inches=True, fahrenheit=True)
    imperial = kit_of(
        household, length="9.8425", width="7.874", height="5.9055", mm_0="0.748", mm_1="0.1575", grams_0="4.409",
        kg_0="15.873", melt_0="71.6", start_0="68",
    )  # fmt: skip
    assert imperial.inner_m == pytest.approx(metric.inner_m, abs=1e-3)
    assert [layer["mm"] for layer in imperial.layers] == pytest.approx([19, 4], abs=0.01)
    assert imperial.packs[0]["grams"] == pytest.approx(125, abs=0.1)
    assert imperial.packs[1]["kg"] == pytest.approx(0.45, abs=0.001)
    assert (imperial.packs[1]["melt_c"], imperial.packs[1]["start_c"]) == (22.0, 20.0)


@pytest.mark.parametrize("household", [Setting(), Setting(inches=True, fahrenheit=True)])
def test_a_kit_shown_again_and_kept_stays_the_same(household: Setting) -> None:
    kit = kit_of(Setting())
    kit.save()
    shown = KitForm(household=household, kit=kit)
    sent = {name: shown[name].value() for name in shown.fields if shown[name].value() not in (None, False)}
    again = KitForm(sent, household=household, kit=Kit.objects.get())
    assert again.is_valid(), again.errors
    after = again.kit()
    assert after.layers == kit.layers
    assert after.inner_m == pytest.approx(kit.inner_m, abs=1e-4)
    for before, now in zip(kit.packs, after.packs, strict=True):
        assert before.pop("kind") == now.pop("kind")
        assert now == pytest.approx(before, rel=2e-3)


@pytest.mark.parametrize(
    "values, said",
    [
        ({"length": "25000"}, "Inner size"),
        ({"mm_0": ""}, "This layer has no thickness"),
        ({"air_changes_h": "9"}, "is not in the list"),
        ({"melt_0": ""}, "no melting point"),
        ({"rated_0": "9000"}, "Heat pack, printed hours"),
        ({"cost": "-1"}, "the smallest it can be is 0"),
        ({"material_0": "", "material_1": ""}, "Layers"),
        ({"name": "Dry ice box"}, "Dry ice never"),
        ({"length": "warm"}, "is not a number"),
    ],
)
def test_a_kit_that_cannot_be_is_refused_in_words(keeper_client: Client, values: dict[str, Any], said: str) -> None:
    answer = keeper_client.post(reverse("shipments:kit_new"), form_values(**values))
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert "Mine" in answer.content.decode() or "Dry ice box" in answer.content.decode()
    assert not Kit.objects.exists()


def test_figures_can_be_worked_out_without_keeping_the_kit(keeper_client: Client) -> None:
    answer = keeper_client.post(reverse("shipments:kit_new"), form_values(reckon="1"))
    assert answer.status_code == 200
    assert "in this box" in answer.content.decode()
    assert not Kit.objects.exists()


def test_a_kit_is_kept_with_what_it_uses_up(keeper_client: Client) -> None:
    supply = Supply.objects.create(name="Liner", on_shelf=4)
    keeper_client.post(
        reverse("shipments:kit_new"), form_values(supply_0=supply.pk, number_0="2", supply_1=supply.pk, token="t1")
    )
    other = keeper_client.post(reverse("shipments:kit_new"), form_values(supply_0=supply.pk, number_0="2", token="t1"))
    assert other.status_code == 422
    assert "Nothing was written this time" in other.content.decode()
    kit = Kit.objects.get()
    assert [(part.supply, part.number) for part in kit.parts.all()] == [(supply, 3)]
    page = keeper_client.get(reverse("shipments:kit", args=[kit.pk])).content.decode()
    assert "Tape it inside the lid" in page
    assert "0.30 watts" in page


def test_a_kit_without_packs_is_kept_and_changed(keeper_client: Client) -> None:
    plain = form_values(rated_0="", grams_0="", before_0="", kg_0="", melt_0="", latent_0="", start_0="")
    assert keeper_client.post(reverse("shipments:kit_new"), plain).status_code == 302
    kit = Kit.objects.get()
    changed = keeper_client.post(reverse("shipments:kit", args=[kit.pk]), plain | {"name": "Plain"})
    assert (changed.status_code, Kit.objects.get().name, Kit.objects.get().packs) == (302, "Plain", [])
    for one in bench.load_example_kits(by=None):
        shown = KitForm(household=Setting(), kit=one)
        sent = {name: shown[name].value() for name in shown.fields if shown[name].value() not in (None, False)}
        assert keeper_client.post(reverse("shipments:kit", args=[one.pk]), sent).status_code == 302, one


@pytest.mark.parametrize(
    ("changes", "is_measured"),
    [({"note": "Here"}, True), ({"mm_0": "38"}, False), ({"leak_factor": "1"}, False), ({"width": "40"}, False)],
)
def test_walls_that_were_changed_are_measured_no_more(
    keeper_client: Client, changes: dict[str, str], is_measured: bool
) -> None:
    kit = boxes.kit()
    bench.keep_measured(kit.pk, 1.2345678901234567, 0.1, by=None)
    shown = KitForm(household=Setting(), kit=Kit.objects.get())
    sent = {name: value for name in shown.fields if (value := shown[name].value()) is not None}
    assert keeper_client.post(reverse("shipments:kit", args=[kit.pk]), sent | changes).status_code == 302
    assert (Kit.objects.get().measured_sd_ln is not None) == is_measured


def test_who_changes_a_kit_that_was_measured_meanwhile_is_told(keeper_client: Client) -> None:
    kit = boxes.kit()
    page = reverse("shipments:kit", args=[kit.pk])
    shown = keeper_client.get(page).context["form"]
    sent = {name: value for name in shown.fields if (value := shown[name].value()) is not None}
    bench.keep_measured(kit.pk, 1.3, 0.1, by=None)
    refused = keeper_client.post(page, sent | {"note": "Mine"})
    assert refused.status_code == 422
    assert "changed or measured since you opened this page" in refused.content.decode()
    assert Kit.objects.get().leak_factor == 1.3
    again = refused.context["form"]["seen"].value()
    assert keeper_client.post(page, sent | {"note": "Mine", "leak_factor": "1.3", "seen": again}).status_code == 302
    assert (Kit.objects.get().note, Kit.objects.get().measured_sd_ln) == ("Mine", 0.1)


def test_a_kit_that_was_measured_while_the_form_waited_for_the_lock_stays_measured(
    keeper_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    kit, save_kit = boxes.kit(), bench.save_kit

    def save_after_a_measurement(*args: Any, **how: Any) -> Kit:
        bench.keep_measured(kit.pk, 1.3, 0.1, by=None)
        return save_kit(*args, **how)

    monkeypatch.setattr(bench, "save_kit", save_after_a_measurement)
    page = reverse("shipments:kit", args=[kit.pk])
    shown = keeper_client.get(page).context["form"]
    sent = {name: value for name in shown.fields if (value := shown[name].value()) is not None}
    refused = keeper_client.post(page, sent | {"note": "Mine"})
    assert refused.status_code == 422
    assert "changed or measured since you opened this page" in refused.content.decode()
    assert (Kit.objects.get().leak_factor, Kit.objects.get().note) == (1.3, "")


def test_a_slip_on_the_page_does_not_hide_that_a_kit_was_measured(keeper_client: Client) -> None:
    kit = boxes.kit()
    page = reverse("shipments:kit", args=[kit.pk])
    shown = keeper_client.get(page).context["form"]
    sent = {name: value for name in shown.fields if (value := shown[name].value()) is not None}
    bench.keep_measured(kit.pk, 1.3, 0.1, by=None)
    for first in (sent | {"width": "wide"}, sent | {"reckon": "1"}):
        again = keeper_client.post(page, first).context["form"]["seen"].value()
        stale = keeper_client.post(page, sent | {"note": "Mine", "seen": again})
        assert "changed or measured since you opened this page" in stale.content.decode()
    assert Kit.objects.get().leak_factor == 1.3


def test_instructions_name_the_hour_at_which_a_pack_is_opened() -> None:
    from datetime import datetime

    kit = boxes.warm()
    said = box_rules.instructions_for(kit, handed_over=datetime(2026, 2, 2, 16, 15))
    assert said[0].startswith("Open the 72 h heat pack at 15:15")
    assert "about 57 °C" in said[1]
    assert "about 135 °F" in box_rules.instructions_for(kit, fahrenheit=True)[1]
    assert box_rules.instructions_for(None) == []


def test_packs_that_are_alike_are_told_of_once() -> None:
    kit = boxes.warm()
    kit.packs = [*kit.packs, *kit.packs, *[{"kind": "phase_change", "kg": 0.45, "melt_c": 22, "start_c": 20}] * 2]
    said = box_rules.instructions_for(kit)
    assert [sentence.split(" and ")[0] for sentence in said if "72 h" in sentence] == [
        "Open the 2 heat packs of 72 h 60 minutes before hand-over"
    ]
    assert sum("22 °C" in sentence for sentence in said) == 1
    assert any(sentence.startswith("Bring the 2 packs of 0.45 kg that melt at 22 °C to 20 °C") for sentence in said)


def test_a_box_too_small_for_its_cups_is_said_in_words() -> None:
    tiny = boxes.kit(inner_m=[0.06, 0.06, 0.06])
    assert kit_figures.kit_worth(tiny, cups=8).fault.startswith("Size: It is 0.448 kg")
