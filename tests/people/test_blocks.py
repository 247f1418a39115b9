"""Addresses pasted as a block: their country, postcode, town and region. All are invented."""

import pytest

from breeder.core.compliance import regions
from breeder.people.address_parser import read_block


@pytest.mark.parametrize(
    ("block", "country", "postcode", "town", "region"),
    [
        ("Ada Marsh\n1 Fern Lane\nTrenton, NJ 08608", "US", "08608", "Trenton", "US-NJ"),
        ("Ada Marsh\n1 Fern Lane\nTrenton NJ 08608-1234\nUSA", "US", "08608", "Trenton", "US-NJ"),
        (
            "  Ada Marsh \r\n\r\n 1 Fern Lane\r\n trenton nj 08608 \r\n United States ",
            "US",
            "08608",
            "trenton",
            "US-NJ",
        ),
        ("Ada Marsh\n12345 Long Road\nSanta Fe, New Mexico 87501", "US", "87501", "Santa Fe, New Mexico", ""),
        ("Ada Marsh\n1 Fern Lane\nTrenton 08608", "US", "08608", "Trenton", ""),
        ("PSC 3 Box 12\nAPO AE 09001", "US", "09001", "APO", "US-AE"),
        ("Bo Reed\n2 Elm Rd\nOttawa ON K1A 0B1\nCanada", "CA", "K1A 0B1", "Ottawa", "CA-ON"),
        ("Bo Reed\n2 Elm Rd\nOttawa, ON  k1a0b1", "CA", "K1A 0B1", "Ottawa", "CA-ON"),
        ("Bo Reed\n2 Elm Rd\nMontréal PQ H2X 1Y4\nCanada", "CA", "H2X 1Y4", "Montréal", "CA-QC"),
        ("Bo Reed\n2 Elm Rd\nMontréal XX H2X 1Y4\nCanada", "CA", "H2X 1Y4", "Montréal XX", ""),
        ("Cy Wold\n3 Moss Street\nLEEDS\nLS1 4AP\nUnited Kingdom", "GB", "LS1 4AP", "LEEDS", ""),
        ("Cy Wold\n3 Moss Street\nLeeds LS1 4AP", "GB", "LS1 4AP", "Leeds", ""),
        ("Di Busch\nFarnweg 4\n10117 Berlin\nDeutschland", "DE", "10117", "Berlin", ""),
        ("Di Busch\nFarnweg 4\nD-10117 Berlin\nGermany", "DE", "10117", "Berlin", ""),
        ("Eva Bos\nVarenlaan 5\n1012 AB Amsterdam\nThe Netherlands", "NL", "1012 AB", "Amsterdam", ""),
        ("Fay Lind\nMossgatan 6\n111 22 Stockholm\nSweden", "SE", "111 22", "Stockholm", ""),
        ("Hal Berg\nMosavegur 3\n101 Reykjavík\nIceland", "IS", "101", "Reykjavík", ""),
        ("Gus Mech\nul. Paproci 7\n00-950 Warszawa\nPolska", "PL", "00-950", "Warszawa", ""),
    ],
)
def test_what_a_block_says(block: str, country: str, postcode: str, town: str, region: str) -> None:
    read = read_block(block)
    assert (read.country, read.postcode, read.town, read.region) == (country, postcode, town, region)


@pytest.mark.parametrize(
    "block", ["Ada Marsh\n1 Fern Lane\nNowhere", "Di Busch\nFarnweg 4\n10117 Berlin", "\n \n", "12"]
)
def test_a_country_is_never_guessed(block: str) -> None:
    """Five digits alone prove nothing: 10117 is in Berlin and in New York."""
    assert read_block(block).country == ""


def test_the_keepers_word_on_the_country_decides() -> None:
    assert read_block("Di Busch\nFarnweg 4\n10117 Berlin", country="DE").postcode == "10117"
    assert read_block("Ada Marsh\nFern Lane 1\nTrenton NJ 08608", country="CA").postcode == ""


def test_a_name_is_never_taken_for_a_country_or_a_state() -> None:
    assert read_block("Jersey Chad\n1 Fern Lane\nTrenton NJ 08608").region == "US-NJ"


@pytest.mark.parametrize(
    ("written", "code"),
    [("USA", "US"), ("U.S.A.", "US"), ("u.s.", "US"), ("the  Netherlands", "NL"), ("Österreich", "AT"),
     ("Wales.", "GB"), ("DE", "DE"), ("de", ""), ("AF", ""), ("Georgia", ""), ("Trenton NJ 08608", "")],
)  # fmt: skip
def test_a_country_is_read_as_people_write_it_under_an_address(written: str, code: str) -> None:
    """Codes only in capitals: 'de' and 'in' are words of a town's name."""
    assert regions.read_country(written) == code


def test_every_other_name_leads_to_a_named_country_and_is_no_second_entry() -> None:
    assert set(regions.OTHER_COUNTRY_NAMES.values()) <= set(regions.COUNTRY_NAMES)
    shown = {name.removeprefix("the ").casefold() for name in regions.COUNTRY_NAMES.values()}
    assert not shown & set(regions.OTHER_COUNTRY_NAMES)
    assert all(regions.read_country(name.upper()) == code for name, code in regions.OTHER_COUNTRY_NAMES.items())


def test_a_us_address_ends_in_the_letters_of_the_postal_service() -> None:
    """USPS Publication 28, appendix B: 50 states, DC, 5 territories, 3 associated states, 3 of the armed forces."""
    assert len(regions.US_POST_CODES) == 50 + 1 + 5 + 3 + 3
    assert {"DC", "PR", "FM", "MH", "PW", "AA", "AE", "AP"} <= regions.US_POST_CODES
    assert "UM" not in regions.US_POST_CODES
