"""Builders: plain functions that make the rows a test needs, with ordinary values for the rest."""

from datetime import UTC, date, datetime
from typing import Any

from django.contrib.auth.models import Group, User
from django.db.models import Max

from breeder.cultures.models import Culture
from breeder.orders.models import Offer
from breeder.people.models import Address, Person
from breeder.species.models import Line, Species

NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)
TODAY = NOW.date()
PASSWORD = "a long tub of springtails"


def user_in(role: str, name: str) -> User:
    user = User.objects.create_user(name, password=PASSWORD)
    user.groups.add(Group.objects.get_or_create(name=role)[0])
    return user


def species(name: str = "Armadillidium vulgare", **values: Any) -> Species:
    values = {
        "authorship": "(Latreille, 1804)",
        "group": Species.Group.ISOPOD,
        "comfort_low_c": 7,
        "comfort_high_c": 29,
        "hard_low_c": 0,
        "hard_high_c": 36,
    } | values
    return Species.objects.get_or_create(scientific_name=name, qualifier=values.pop("qualifier", ""), defaults=values)[
        0
    ]


def line(form: str = "Harbour", *, of: Species | None = None, **values: Any) -> Line:
    return Line.objects.create(species=of or species(), form_name=form, **values)


def tub(of: Line | None = None, **values: Any) -> Culture:
    last = Culture.objects.aggregate(last=Max("number"))["last"] or 0
    values = {"number": last + 1, "shelf": "A", "started_on": date(2025, 1, 1)} | values
    return Culture.objects.create(line=of or line(f"Form {values['number']}"), **values)


def person(name: str = "Ada Marsh", **values: Any) -> Person:
    return Person.objects.create(name=name, **values)


def address(of: Person | None = None, **values: Any) -> Address:
    values = {
        "block": "Ada Marsh\n1 Fern Lane\nTrenton NJ 08608",
        "postcode": "08608",
        "latitude": "40.22",
        "longitude": "-74.76",
        "timezone": "America/New_York",
    } | values
    return Address.objects.create(person=of or person(), **values)


def offer(of: Line, **values: Any) -> Offer:
    values = {"kind": Offer.Kind.STARTER, "stage": "young", "number": 10, "overcount": 2, "price": "24.00"} | values
    return Offer.objects.create(line=of, **values)
