"""The form of a kit: fixed rows for layers and packs, so that it works without script, in the household's units."""

import json
from collections.abc import Iterator
from copy import copy
from typing import Any

from django import forms

from breeder.base.edit_conflicts import STAMP_LETTERS, ChangedMeanwhile, StampField, fresh_row, short
from breeder.base.form_messages import PlainForm
from breeder.base.models import Setting
from breeder.core.thermal.materials import MATERIALS
from breeder.core.units import to_celsius, to_fahrenheit
from breeder.shipments.actions.bench import Part
from breeder.shipments.kit_figures import kit_worth
from breeder.shipments.models import Kit, Supply
from breeder.shipments.unit_fields import household_units, in_household_unit

LAYER_ROWS, HEAT_ROWS, COLD_ROWS, PART_ROWS = 4, 2, 2, 5
MATERIAL_NAMES = {
    "corrugated": "corrugated board", "eps": "foam (EPS)", "xps": "foam (XPS)", "pu": "foam (PU)",
    "cellulose": "cellulose", "foil_bubble": "foil bubble (8 mm)",
}  # fmt: skip
# Air changes an hour (judgement): a taped box, a box as closed, a box with air holes.
AIR = [("0.15", "taped all round"), ("0.6", "closed, seams open"), ("1.5", "with air holes")]
GAPS = [("0", "no gap"), ("6", "6 mm gap before the foil"), ("12", "12 mm gap before the foil")]
# What is filled in where a row leaves it open: a gel pack takes 320 kJ/kg (96 % water), its maker's label knows better.
LATENT_GEL_KJ_KG = 320


CHANGED = (
    "This kit was changed or measured since you opened this page. What you typed is still here: compare it with the "
    "kit as it is now, and save again if you want to keep it."
)


def _stamp(kit: Kit) -> str:
    """Return what tells whether a kit is still as the book had it, so that two who change it do not write over it."""
    parts = sorted(kit.parts.values_list("supply_id", "number"))
    fields = [kit.serializable_value(field.attname) for field in kit._meta.concrete_fields]
    # PostgreSQL gives the names within a layer in an order of its own.
    return short(json.dumps([fields, parts], sort_keys=True, default=str))


def _number(label: str, **more: Any) -> forms.FloatField:
    widget = forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"})
    return forms.FloatField(label=label, required=False, widget=widget, **more)


class KitForm(PlainForm, forms.Form):
    """A kit: box from the inside outwards, packs, what it uses up and what it costs."""

    name = forms.CharField(
        label="Name", max_length=80, help_text="As you call it at the bench, such as Foam 19 mm, 72 h pack."
    )
    cost = forms.DecimalField(
        label="Cost",
        min_value=0,
        max_digits=8,
        decimal_places=2,
        initial=0,
        help_text="Kits are tried in order of cost.",
    )
    air_changes_h = forms.ChoiceField(label="The box is", choices=AIR, initial="0.6")
    leak_factor = forms.FloatField(
        label="Leakier than drawn by", min_value=0.2, max_value=10, initial=1.0,
        help_text="1 unless you measured your own box; the check adds the usual 15 % and its spread.",
    )  # fmt: skip
    active = forms.BooleanField(
        label="In use", required=False, initial=True, help_text="Only kits in use are tried for a box."
    )
    note = forms.CharField(label="Note", max_length=240, required=False)
    seen = StampField(required=False, max_length=STAMP_LETTERS)

    def __init__(self, *args: Any, household: Setting, kit: Kit | None = None, **kwargs: Any) -> None:
        self.units, self.fahrenheit = household_units(household.inches), household.fahrenheit
        self.kit_before = kit
        kwargs.setdefault("initial", self._initial(kit) if kit else {})
        super().__init__(*args, **kwargs)
        self._add_box_fields()
        self._add_pack_fields()
        self.fields["seen"].initial = _stamp(kit) if kit else ""
        self.figures = kit_worth(kit, fahrenheit=self.fahrenheit) if kit else None

    def _add_box_fields(self) -> None:
        units = self.units
        for side in ("length", "width", "height"):
            self.fields[side] = forms.FloatField(
                label=f"Inner {side}, {units.side}",
                widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
            )
        materials = [("", "no layer"), *((name, MATERIAL_NAMES.get(name, name)) for name in MATERIALS)]
        for row in range(LAYER_ROWS):
            self.fields[f"material_{row}"] = forms.ChoiceField(label="Material", choices=materials, required=False)
            self.fields[f"mm_{row}"] = _number(f"Thickness, {units.wall}")
            self.fields[f"gap_{row}"] = forms.ChoiceField(label="Foil", choices=GAPS, required=False)
        self.fields["ballast"] = _number(f"Water in a bottle, {units.water}", min_value=0)

    def _add_pack_fields(self) -> None:
        units, degree = self.units, "°F" if self.fahrenheit else "°C"
        for row in range(HEAT_ROWS):
            self.fields[f"rated_{row}"] = _number("Printed hours")
            self.fields[f"grams_{row}"] = _number(f"Weight, {units.small} (if you know it)")
            self.fields[f"before_{row}"] = _number("Opened, hours before hand-over")
        for row in range(COLD_ROWS):
            self.fields[f"kg_{row}"] = _number(f"Weight, {units.large}")
            self.fields[f"melt_{row}"] = _number(f"Melts at, {degree}")
            self.fields[f"latent_{row}"] = _number("Heat it takes to melt, kJ/kg")
            self.fields[f"start_{row}"] = _number(f"Goes in at, {degree}")
        supplies = [("", "nothing"), *Supply.objects.values_list("pk", "name")]
        for row in range(PART_ROWS):
            self.fields[f"supply_{row}"] = forms.TypedChoiceField(
                label="Uses up", choices=supplies, coerce=int, empty_value=None, required=False
            )
            self.fields[f"number_{row}"] = forms.IntegerField(
                label="How many", min_value=1, max_value=20, required=False
            )

    def rows(self, *names: str) -> Iterator[list[Any]]:
        """Yield the fixed rows that the named fields form."""
        row = 0
        while f"{names[0]}_{row}" in self.fields:
            yield [self[f"{name}_{row}"] for name in names]
            row += 1

    def box_fields(self) -> list[Any]:
        return [self[name] for name in ("length", "width", "height", "air_changes_h", "leak_factor", "ballast")]

    def first_fields(self) -> list[Any]:
        return [self[name] for name in ("name", "cost")]

    def last_fields(self) -> list[Any]:
        return [self[name] for name in ("note", "active")]

    def layer_rows(self) -> Iterator[list[Any]]:
        return self.rows("material", "mm", "gap")

    def heat_rows(self) -> Iterator[list[Any]]:
        return self.rows("rated", "grams", "before")

    def cold_rows(self) -> Iterator[list[Any]]:
        return self.rows("kg", "melt", "latent", "start")

    def part_rows(self) -> Iterator[list[Any]]:
        return self.rows("supply", "number")

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        for row in range(LAYER_ROWS):
            if given.get(f"material_{row}") and given.get(f"mm_{row}") is None and f"mm_{row}" not in self.errors:
                self.add_error(f"mm_{row}", "This layer has no thickness. Write it, or choose no layer.")
        for row in range(COLD_ROWS):
            if (
                given.get(f"kg_{row}") is not None
                and given.get(f"melt_{row}") is None
                and f"melt_{row}" not in self.errors
            ):
                self.add_error(
                    f"melt_{row}",
                    "This pack has no melting point. Write what its label says; a gel pack melts at 0 °C.",
                )
        if not self.errors:
            self.figures = kit_worth(self.kit(), fahrenheit=self.fahrenheit)
            if self.figures.fault:
                self.add_error(None, self.figures.fault)
        return given

    def refuse_if_changed(self) -> None:
        """Compare the kit that the page showed with the kit as it is now, which stays locked on a server.

        Raises ChangedMeanwhile, and shows from then on what was compared.
        """
        seen = self.cleaned_data["seen"]
        if not seen or self.kit_before is None:
            return
        shown: Any = self.fields["seen"]
        shown.initial, shown.is_compared = _stamp(fresh_row(self.kit_before)), True
        if seen != shown.initial:
            raise ChangedMeanwhile(CHANGED, code="changed_meanwhile")

    def kit(self) -> Kit:
        """Return the kit as typed, not yet kept."""
        given, units = self.cleaned_data, self.units
        kit = copy(self.kit_before) if self.kit_before else Kit()
        kit.name, kit.cost, kit.note, kit.active = given["name"], given["cost"], given["note"], given["active"]
        kit.inner_m = [round(given[side] * units.side_m, 4) for side in ("length", "width", "height")]
        kit.layers = [self._layer(row) for row in range(LAYER_ROWS) if given[f"material_{row}"]]
        kit.packs = [self._heat(row) for row in range(HEAT_ROWS) if given[f"rated_{row}"] is not None]
        kit.packs += [self._cold(row) for row in range(COLD_ROWS) if given[f"kg_{row}"] is not None]
        kit.ballast_kg = round((given["ballast"] or 0.0) * units.water_kg, 3)
        kit.leak_factor, kit.air_changes_h = given["leak_factor"], float(given["air_changes_h"])
        if self._is_rebuilt():
            kit.measured_sd_ln = None
        return kit

    def _is_rebuilt(self) -> bool:
        """Return whether the walls were changed: what was measured then says nothing of the new ones."""
        rows = [f"{name}_{row}" for name in ("material", "mm", "gap") for row in range(LAYER_ROWS)]
        return not {"length", "width", "height", "leak_factor", *rows}.isdisjoint(self.changed_data)

    def _layer(self, row: int) -> dict[str, Any]:
        given = self.cleaned_data
        layer = {"material": given[f"material_{row}"], "mm": round(given[f"mm_{row}"] * self.units.wall_mm, 2)}
        gap = float(given[f"gap_{row}"] or 0)
        return layer | ({"gap_mm": gap} if gap else {})

    def _heat(self, row: int) -> dict[str, Any]:
        given = self.cleaned_data
        pack = {"kind": "heat", "rated_h": given[f"rated_{row}"], "lit_h": -(given[f"before_{row}"] or 0.0)}
        grams = given[f"grams_{row}"]
        return pack | ({} if grams is None else {"grams": round(grams * self.units.small_g, 1)})

    def _cold(self, row: int) -> dict[str, Any]:
        given = self.cleaned_data
        melt = self._celsius(given[f"melt_{row}"])
        start, latent = given[f"start_{row}"], given[f"latent_{row}"]
        return {
            "kind": "phase_change",
            "kg": round(given[f"kg_{row}"] * self.units.large_kg, 3),
            "melt_c": melt,
            "latent_kj_kg": LATENT_GEL_KJ_KG if latent is None else latent,
            "start_c": melt if start is None else self._celsius(start),
        }

    def _celsius(self, value: float) -> float:
        return round(to_celsius(value), 2) if self.fahrenheit else value

    def parts(self) -> list[Part]:
        """Return what one box of this kit uses up."""
        given = self.cleaned_data
        numbers: dict[int, int] = {}
        for row in range(PART_ROWS):
            if supply := given[f"supply_{row}"]:
                numbers[supply] = numbers.get(supply, 0) + (given[f"number_{row}"] or 1)
        return [Part(supply, number) for supply, number in numbers.items()]

    def _initial(self, kit: Kit) -> dict[str, Any]:
        units = self.units
        first: dict[str, Any] = {name: getattr(kit, name) for name in ("name", "cost", "leak_factor", "active", "note")}
        first["air_changes_h"] = min(
            (value for value, _ in AIR), key=lambda value: abs(float(value) - kit.air_changes_h)
        )
        first |= dict(
            zip(
                ("length", "width", "height"),
                (in_household_unit(side, units.side_m) for side in kit.inner_m),
                strict=False,
            )
        )
        for row, layer in enumerate(kit.layers):
            first |= {f"material_{row}": layer["material"], f"mm_{row}": in_household_unit(layer["mm"], units.wall_mm)}
            first[f"gap_{row}"] = f"{layer.get('gap_mm', 0):g}"
        for row, pack in enumerate(pack for pack in kit.packs if pack["kind"] == "heat"):
            first |= {
                f"rated_{row}": pack["rated_h"],
                f"grams_{row}": in_household_unit(pack.get("grams"), units.small_g),
            }
            first[f"before_{row}"] = -pack.get("lit_h", 0.0)
        for row, pack in enumerate(pack for pack in kit.packs if pack["kind"] == "phase_change"):
            first |= {f"kg_{row}": in_household_unit(pack["kg"], units.large_kg), f"latent_{row}": pack["latent_kj_kg"]}
            first |= {f"melt_{row}": self._degrees(pack["melt_c"]), f"start_{row}": self._degrees(pack["start_c"])}
        for row, part in enumerate(kit.parts.all()):
            first |= {f"supply_{row}": part.supply_id, f"number_{row}": part.number}
        first["ballast"] = in_household_unit(kit.ballast_kg, units.water_kg) if kit.ballast_kg else None
        return first

    def _degrees(self, celsius: float) -> float:
        return round(to_fahrenheit(celsius), 1) if self.fahrenheit else celsius
