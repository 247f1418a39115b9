"""Temperatures are typed in the household's unit, kept in °C, and a mix-up of units is noticed."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from breeder.base.models import Setting
from breeder.species.forms import SpeciesForm
from breeder.species.species_fields import DEGREES


def field(name: str, *, fahrenheit: bool) -> object:
    return SpeciesForm(household=Setting(fahrenheit=fahrenheit)).fields[name]


@pytest.mark.parametrize(("typed", "celsius"), [("45", "7.2"), ("85", "29.4"), ("32", "0.0"), ("55", "12.8")])
def test_fahrenheit_is_kept_as_celsius(typed: str, celsius: str) -> None:
    """45, 85, 32 and 55 °F are 7.22, 29.44, 0.00 and 12.78 °C (arithmetic)."""
    name = {"45": "comfort_low_c", "55": "comfort_low_c", "85": "comfort_high_c", "32": "hard_low_c"}[typed]
    assert field(name, fahrenheit=True).clean(typed) == Decimal(celsius)


@pytest.mark.parametrize("text", ["7", " 7 ", "7.0", "7,0"])
def test_a_decimal_comma_is_read(text: str) -> None:
    assert field("comfort_low_c", fahrenheit=False).clean(text) == Decimal("7.0")


def test_a_minus_sign_of_any_kind_is_read() -> None:
    assert field("hard_low_c", fahrenheit=False).clean("\u22121.5") == Decimal("-1.5")


@pytest.mark.parametrize(
    ("name", "fahrenheit", "typed", "remedy"),
    [
        ("comfort_high_c", False, "80", "If 80 °F was meant, write 26.7."),
        ("comfort_low_c", False, "45", "If 45 °F was meant, write 7.2."),
        ("hard_low_c", False, "32", "If 32 °F was meant, write 0.0."),
        ("hard_high_c", False, "97", "If 97 °F was meant, write 36.1."),
        ("comfort_high_c", True, "29", "If 29 °C was meant, write 84.2."),
        ("comfort_low_c", True, "7", "If 7 °C was meant, write 44.6."),
        ("hard_low_c", True, "0", "If 0 °C was meant, write 32.0."),
        ("hard_high_c", True, "36", "If 36 °C was meant, write 96.8."),
    ],
)
def test_the_other_unit_is_noticed_and_the_value_to_write_is_named(
    name: str, fahrenheit: bool, typed: str, remedy: str
) -> None:
    with pytest.raises(ValidationError) as refusal:
        field(name, fahrenheit=fahrenheit).clean(typed)
    sentence = refusal.value.messages[0]
    assert f"is {typed} {'°F' if fahrenheit else '°C'}" in sentence
    assert remedy in sentence


@pytest.mark.parametrize("typed", ["900", "-300", "1e9"])
def test_what_is_absurd_in_both_units_gets_no_wrong_advice(typed: str) -> None:
    with pytest.raises(ValidationError) as refusal:
        field("hard_high_c", fahrenheit=False).clean(typed)
    assert refusal.value.messages[0].endswith("Check the value.")


@pytest.mark.parametrize("typed", ["NaN", "Infinity", "warm"])
def test_what_is_no_number_is_refused(typed: str) -> None:
    with pytest.raises(ValidationError):
        field("hard_high_c", fahrenheit=False).clean(typed)


@pytest.mark.parametrize("name", sorted(DEGREES))
def test_a_value_shown_in_fahrenheit_and_sent_back_is_no_change(name: str) -> None:
    degrees_field = field(name, fahrenheit=True)
    for tenths in range(round(degrees_field.low_c * 10), round(degrees_field.high_c * 10) + 1):
        kept = Decimal(tenths) / 10
        assert not degrees_field.has_changed(kept, degrees_field.prepare_value(kept)), kept
