"""Add links to a sentence that asks for hours, to the upload page of the place that needs them."""

from collections.abc import Sequence

from django.db.models import Q
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from breeder.base.models import Setting
from breeder.shipments.models import Parcel
from breeder.weather.models import Place

SEND_IN, TYPE = "Send in newer hours", "type its lows and highs"


def linked_places(parcel: Parcel, household: Setting) -> list[Place]:
    """Return the places at both ends of a box's journey for which weather is stored."""
    ends = (household, parcel.order.address)
    there = [Q(latitude=end.latitude, longitude=end.longitude) for end in ends if end and end.latitude is not None]
    return list(Place.objects.filter(there[0] | there[-1])) if there else []


def linked(sentence: str, places: Sequence[Place]) -> SafeString:
    """Return a sentence with links if it asks for hours: of the place it begins with, or of either end."""
    before, asked, after = sentence.partition(SEND_IN)
    if not asked or not places:
        return format_html("{}", sentence)
    named = next((place for place in places if sentence.startswith(f"{place.label} ")), None)
    if named is None:
        both = [(reverse("weather:upload", args=[place.pk]), place.label) for place in places]
        ways = format_html_join(" or ", '<a href="{}">{}</a>', both)
        return format_html("{}{} for {}{}", before, SEND_IN, ways, after)
    middle, typed, rest = after.partition(TYPE)
    upload = format_html('<a href="{}">{}</a>', reverse("weather:upload", args=[named.pk]), SEND_IN)
    by_hand = format_html('<a href="{}">{}</a>', reverse("weather:by_hand", args=[named.pk]), TYPE) if typed else ""
    return format_html("{}{}{}{}{}", before, upload, middle, by_hand, rest)
