"""What an address must contain, and when a person may be removed."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.core.exceptions import ValidationError

from breeder.base.postcodes import Place, fault_of_place, to_hundredth, us_place
from breeder.core.compliance.regions import region_name
from breeder.people.address_parser import ReadBlock, read_block

REMOVED = "removed"
LONGEST_TOWN = 80


class NoPlace(ValidationError):
    """The address leads to no place, so no weather can be read for it."""


class UnreadableAddress(ValidationError):
    """The address lacks something, or two parts of it disagree."""


class NotAPlace(ValidationError):
    """The place typed by hand is incomplete, not on Earth, or without an address."""


class StillNeeded(ValidationError):
    """The person cannot be removed while a box is on its way to them."""


@dataclass(frozen=True)
class TypedPlace:
    """A place typed by hand; empty parts are None or ''."""

    latitude: Decimal | None = None
    longitude: Decimal | None = None
    timezone: str = ""

    @property
    def is_empty(self) -> bool:
        return self.latitude is None and self.longitude is None and not self.timezone


@dataclass(frozen=True)
class Destination:
    """An address as it will be kept."""

    block: str
    country: str
    postcode: str
    town: str
    region: str
    place: Place | None


def destination(
    block: str, *, country: str = "", postcode: str = "", typed: TypedPlace = TypedPlace(), without_place: bool = False
) -> Destination:
    """Return a pasted address as it will be kept, with its place.

    The place is the one typed by hand, else that of the US postcode. Raises UnreadableAddress if the country cannot
    be read or postcode and state disagree, NotAPlace if the typed place is not one, NoPlace if the address leads to
    no place and the keeper did not choose to do without.
    """
    read = read_block(block, country=country)
    if not read.country:
        raise UnreadableAddress(
            "The country could not be read from the address. Write state and postcode in one line, such as "
            "Duluth, MN 55802, or the country as the last line.",
            code="no_country",
        )
    code = postcode.strip() or read.postcode
    place = _typed_place(typed, read) or (us_place(code) if read.country == "US" and code else None)
    if place is None and not without_place:
        raise NoPlace(no_place_text(read.country, code), code="no_place")
    _check_state(read, place, code)
    town = read.town or (place.town if place else "")
    region = read.region or (place.region if place else "")
    return Destination(block, read.country, code, town[:LONGEST_TOWN], region, place)


def no_place_text(country: str, postcode: str) -> str:
    """Return the sentence for an address that leads to no place."""
    remedy = (
        "type latitude, longitude and time zone of the town (0.01° is enough), or tick that it is kept without a "
        "place; its boxes then stay Not decided."
    )
    if country != "US":
        return (
            f"Places are looked up by postcode only in the US, and this address is in {region_name(country)}: {remedy}"
        )
    if not postcode:
        return f"No postcode of five digits was found in the address. Add it to the address, or {remedy}"
    return f"The table of US postcodes has no place for {postcode}. Check the postcode. If it is right, {remedy}"


def is_of_postcode(country: str, postcode: str, latitude: Decimal) -> bool:
    """Return whether a stored latitude is that of the postcode."""
    place = us_place(postcode) if country == "US" and postcode else None
    return place is not None and place.latitude == latitude


def check_place_has_address(block: str, typed: TypedPlace) -> None:
    """Refuse a typed place that has no address. Raises NotAPlace."""
    if not block and not typed.is_empty:
        raise NotAPlace(
            "A place is typed here, but no address. Paste the address too, or empty the place.", code="bare"
        )


def _typed_place(typed: TypedPlace, read: ReadBlock) -> Place | None:
    if typed.is_empty:
        return None
    if typed.latitude is None or typed.longitude is None or not typed.timezone:
        raise NotAPlace(
            "A place typed by hand needs latitude, longitude and time zone. Fill in all three.", code="part"
        )
    if fault := fault_of_place(typed.latitude, typed.longitude, typed.timezone):
        raise NotAPlace(fault, code="no_such_place")
    return Place(to_hundredth(typed.latitude), to_hundredth(typed.longitude), typed.timezone, read.town, read.region)


def _check_state(read: ReadBlock, place: Place | None, postcode: str) -> None:
    """Catch a mistyped postcode: it would send the weather check, and perhaps the box, to another state."""
    if place and read.country == "US" and read.region and place.region and place.region != read.region:
        raise UnreadableAddress(
            f"Postcode {postcode} lies in {place.town}, {place.region[3:]}, but the address says {read.region[3:]}. "
            "Put one of the two right.",
            code="state_and_postcode",
        )


def check_removal(name: str, open_orders: Sequence[int]) -> None:
    """Raise StillNeeded while an order of this person waits for its box."""
    if open_orders:
        numbers = ", ".join(str(number) for number in open_orders)
        raise StillNeeded(
            f"{name} still has an open order ({numbers}), and its box needs the address. Send or cancel it first.",
            code="open_orders",
        )
