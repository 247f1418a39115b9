"""Boxes for these tests, and reading a PDF back."""

from datetime import UTC, date, datetime
from io import BytesIO
from itertools import count
from typing import Any

from pypdf import PdfReader

from breeder.carriers.models import Service
from breeder.cultures.models import Culture
from breeder.documents.page_frame import Sheet
from breeder.orders.models import Offer, Order, OrderLine
from breeder.shipments.models import Parcel, ParcelItem
from tests import build

POST_ON = date(2026, 3, 2)  # a Monday
_number = count(1)

ODD_NAME = "Őrült Ж→✓ ♂♀ “big” & <b>bold</b> 中文"
LONG_NAME = ("Powder of the long shore " * 5)[:60]


def sheet(title: str = "A paper", **more: Any) -> Sheet:
    return Sheet(title, "Fern and Bark", **more)


def service(**values: Any) -> Service:
    values = {
        "carrier": "Post",
        "name": "Quick",
        "latest_days": 4,
        "usual_days": 2,
        "cut_off": "16:00",
        "marking": "Live animals, this side up",
    } | values
    return Service.objects.get_or_create(carrier=values.pop("carrier"), name=values.pop("name"), defaults=values)[0]


def box(**values: Any) -> Parcel:
    """Return a box with an order, an address and a service, and nothing in it."""
    if "order" not in values:
        address = build.address()
        values["order"] = Order.objects.create(
            number=next(_number), person=address.person, address=address, agreed_at=datetime(2026, 2, 20, tzinfo=UTC)
        )
    values = {"number": next(_number) + 500, "post_on": POST_ON} | values
    if "service" not in values:
        values["service"] = service()
    return Parcel.objects.create(**values)


def put(
    parcel: Parcel, tub: Culture, number: int, *, stage: str = "young", chosen: bool = True, **values: Any
) -> ParcelItem:
    """Put animals of a tub into a box."""
    kind = Offer.Kind.CUP if stage == "cups" else Offer.Kind.STARTER
    offer = build.offer(tub.line, kind=kind, stage=stage)
    line = OrderLine.objects.create(order=parcel.order, offer=offer, packs=1, animals=number)
    return ParcelItem.objects.create(
        parcel=parcel, order_line=line, culture=tub if chosen else None, planned=number, **values
    )


def pages(content: bytes) -> list[str]:
    """Return the words of each page, with plain spaces."""
    texts = (page.extract_text() for page in PdfReader(BytesIO(content)).pages)
    return [" ".join(text.split()) for text in texts]


def words(content: bytes) -> str:
    """Return the words of the whole file."""
    return " ".join(pages(content))


def drawn(content: bytes, sign: str) -> int:
    """Return how often a sign was drawn as a shape."""
    return _streams(content).count(f"/FormXob.{sign} Do".encode())


def ruled(content: bytes) -> int:
    """Return how many straight lines were drawn."""
    return _streams(content).count(b" l S")


def _streams(content: bytes) -> bytes:
    streams = (page.get_contents() for page in PdfReader(BytesIO(content)).pages)
    return b"".join(stream.get_data() for stream in streams if stream is not None)
