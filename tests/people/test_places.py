"""Places: by US postcode offline, by hand elsewhere, rounded to about a kilometer, never 0, 0."""

import re
from decimal import Decimal
from zoneinfo import available_timezones

import pytest
import zipcodes
from django.core.exceptions import ValidationError

from breeder.base.fields import ZoneField
from breeder.base.postcodes import fault_of_place, us_place
from breeder.people import rules
from breeder.people.rules import TypedPlace

TRENTON = "Ada Marsh\n1 Fern Lane\nTrenton NJ 08608"


def test_a_us_postcode_gives_a_rounded_place_with_its_zone() -> None:
    """08608 in the table of the package zipcodes (GeoNames): 40.2204, -74.7622."""
    place = us_place("08608")
    assert (place.latitude, place.longitude) == (Decimal("40.22"), Decimal("-74.76"))
    assert (place.timezone, place.town, place.region) == ("America/New_York", "Trenton", "US-NJ")


@pytest.mark.parametrize("postcode", ["K1A 0B1", "SW1A 1AA", "123", "", "00000", "08608-12", "\x00", "٠٨٦٠٨"])
def test_a_foreign_or_wrong_postcode_has_no_place_and_breaks_nothing(postcode: str) -> None:
    assert us_place(postcode) is None


def test_no_row_with_0_0_ever_becomes_a_place() -> None:
    unknown = [row for row in zipcodes.list_all() if float(row["lat"]) == 0 and float(row["long"]) == 0]
    assert len(unknown) > 800
    assert all(us_place(row["zip_code"]) is None for row in unknown[::40])


def test_a_row_without_a_real_zone_is_no_place() -> None:
    wrong = next(row for row in zipcodes.list_all() if row["timezone"] == "Napakiak")
    assert us_place(wrong["zip_code"]) is None


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [
        ("52.52", "13.41", "Europe/Berlin"),
        ("-33.87", "151.21", "Australia/Sydney"),
        ("39.47", "75.99", "Asia/Shanghai"),
        ("51.88", "-176.66", "America/Adak"),
        ("-21.14", "-175.2", "Pacific/Tongatapu"),
        ("64.15", "-21.94", "Atlantic/Reykjavik"),
    ],
)
def test_real_places_fit_their_zone(latitude: str, longitude: str, zone: str) -> None:
    assert fault_of_place(Decimal(latitude), Decimal(longitude), zone) == ""


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone", "sentence"),
    [
        ("40.22", "74.76", "America/New_York", "Places in the west have a minus sign"),
        ("-74.76", "40.22", "America/New_York", "does not lie in the time zone"),
        ("-122.4", "37.8", "America/Los_Angeles", "seem to be swapped"),
        ("95", "200", "UTC", "Latitude is 95"),
        ("45", "200", "UTC", "Longitude is 200"),
        ("0.001", "-0.004", "UTC", "in the sea off Africa"),
        ("52.5", "13.4", "Berlin", "‘Berlin’ is not a time zone"),
        ("1E+400", "13.4", "Europe/Berlin", "it lies between -90 and 90"),
    ],
)
def test_a_place_that_cannot_be_is_explained(latitude: str, longitude: str, zone: str, sentence: str) -> None:
    assert sentence in fault_of_place(Decimal(latitude), Decimal(longitude), zone)


@pytest.mark.parametrize(
    ("typed", "name"),
    [("Europe/Berlin", "Europe/Berlin"), (" america/new york", "America/New_York"), ("utc", "UTC")],
)
def test_a_zone_is_known_in_any_case_and_with_spaces(typed: str, name: str) -> None:
    assert ZoneField().clean(typed) == name


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("Berlin", "‘Berlin’ is not a time zone. Write Europe/Berlin."),
        ("new york", "‘new york’ is not a time zone. Write America/New_York."),
        ("CEST", "‘CEST’ is not a time zone. Write a name such as America/Chicago or Europe/Berlin."),
    ],
)
def test_an_unknown_zone_names_the_one_of_its_city(typed: str, sentence: str) -> None:
    with pytest.raises(ValidationError) as refusal:
        ZoneField().clean(typed)
    assert refusal.value.messages == [sentence]


def test_every_zone_offered_is_one_of_the_zone_database() -> None:
    """The standard library's own list of IANA names."""
    offered = re.findall(r'<option value="([^"]+)">', str(ZoneField().widget.render("timezone", "")))
    assert {"Europe/Berlin", "America/Chicago", "Asia/Tokyo"} <= set(offered) <= available_timezones()


def test_an_american_address_is_placed_by_its_postcode() -> None:
    to = rules.destination(TRENTON)
    assert (to.country, to.postcode, to.town, to.region) == ("US", "08608", "Trenton", "US-NJ")
    assert to.place.timezone == "America/New_York"
    assert to.block == TRENTON


@pytest.mark.parametrize(
    ("block", "sentence"),
    [
        (TRENTON.replace("08608", "00000"), "no place for 00000"),
        ("PSC 3\nAPO AE 09001", "no place for 09001"),
        ("Ada Marsh\nFern Lane\nTrenton\nUSA", "No postcode of five digits"),
        ("Di Busch\nFarnweg 4\n10117 Berlin\nGermany", "this address is in Germany"),
    ],
)
def test_without_a_place_there_is_a_sentence_and_a_way_on(block: str, sentence: str) -> None:
    with pytest.raises(rules.NoPlace, match=sentence):
        rules.destination(block)
    assert rules.destination(block, without_place=True).place is None
    typed = TypedPlace(Decimal("52.5186"), Decimal("13.4081"), "Europe/Berlin")
    assert rules.destination(block, typed=typed).place.latitude == Decimal("52.52")


def test_a_postcode_of_another_state_is_noticed() -> None:
    with pytest.raises(rules.UnreadableAddress, match="94107 lies in San Francisco, CA, but the address says NJ"):
        rules.destination(TRENTON.replace("08608", "94107"))


def test_half_a_place_is_asked_for_whole() -> None:
    with pytest.raises(rules.NotAPlace, match="all three"):
        rules.destination(TRENTON, typed=TypedPlace(Decimal("40")))


def test_an_address_without_a_country_is_asked_for_it() -> None:
    with pytest.raises(ValidationError, match="country could not be read"):
        rules.destination("Ada Marsh\n1 Fern Lane\nNowhere")
