"""Countries and states by ISO 3166, held against the package `holidays`, which keeps the same lists."""

import holidays as reference
import pytest

from breeder.core.compliance import regions


@pytest.mark.parametrize("country", sorted(regions.SUBDIVISIONS))
def test_the_parts_of_a_country_are_those_of_iso_3166_2(country: str) -> None:
    """The package also names a part of a state that has a holiday of its own; its name is no code."""
    theirs = {code for code in reference.country_holidays(country).subdivisions if code.isalpha()}
    assert set(regions.SUBDIVISIONS[country]) == theirs


def test_every_country_that_the_reference_knows_is_known() -> None:
    """ISO 3166-1 alpha-2. The package also takes UK (reserved, for GB) and XK (user-assigned), which are not in it."""
    theirs = {code for code in reference.list_supported_countries() if len(code) == 2}
    assert theirs - regions.COUNTRIES <= {"XK", "UK"}
    assert len(regions.COUNTRIES) == 249  # officially assigned codes (ISO 3166-1:2020, from memory)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("us-fl", "US-FL"),
        ("PR", "US-PR"),
        (" de ", "DE"),
        ("US-PW", "PW"),
        ("", ""),
        ("new  york", "US-NY"),
        ("Germany (DE)", "DE"),
        ("United Kingdom", "GB"),
        ("Quebec", "CA-QC"),
    ],
)
def test_a_code_is_kept_as_addresses_bear_it(typed: str, kept: str) -> None:
    assert regions.region_code(typed) == kept
    assert regions.code_fault(kept) == ""


@pytest.mark.parametrize("code", ["XX", "US-ZZ", "Floridia", "Georgia", "CA-Ontario", "USA", "AU-WAX"])
def test_what_is_no_code_is_refused_in_a_sentence(code: str) -> None:
    assert "ISO 3166" in regions.code_fault(code)


def test_a_country_holds_its_states_and_anywhere_holds_all() -> None:
    assert regions.covers("US", "US-HI")
    assert regions.covers("", "DE")
    assert not regions.covers("US-HI", "US")
    assert not regions.covers("US-HI", "US-FL")
    assert not regions.covers("US", "")
    assert [regions.depth(code) for code in ("", "US", "US-HI")] == [0, 1, 2]


def test_an_address_gives_its_state_or_its_country() -> None:
    assert regions.address_region("US", "US-NJ") == "US-NJ"
    assert regions.address_region("US", "") == "US"
    assert regions.address_region("", "") == ""
    assert regions.address_region("CA", "CA-PQ") == "CA"  # letters of no province: the country's own rules still speak
