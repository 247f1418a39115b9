"""Rows for tests of the book of rules, looked up recently and good for a long time."""

from datetime import date
from typing import Any

from breeder.carriers.models import CarrierRule, MovementRule, Permit

LOOKED = {
    "verified": True,
    "checked_on": date(2012, 1, 5),
    "recheck_on": date(2099, 1, 5),
    "citation": "7 CFR 330.200",
}
EXAMPLE = {"verified": False, "checked_on": None, "recheck_on": None}


def movement(effect: str, taxon: str = "Isopoda", destination: str = "US", **values: Any) -> MovementRule:
    return MovementRule.objects.create(taxon=taxon, destination=destination, effect=effect, **(LOOKED | values))


def carrier(takes: str = "takes", taxon: str = "", **values: Any) -> CarrierRule:
    return CarrierRule.objects.create(takes=takes, taxon=taxon, **({"carrier": "Post"} | LOOKED | values))


def permit(**values: Any) -> Permit:
    usual = {
        "number": "P-1", "issuer": "USDA APHIS", "kind": "PPQ 526", "taxa": ["Isopoda"], "destinations": ["US-NJ"],
        "valid_from": date(2012, 1, 1), "valid_until": date(2098, 1, 1),
    }  # fmt: skip
    return Permit.objects.create(**(usual | values))
