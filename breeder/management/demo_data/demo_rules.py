"""Rules, carriers' terms and permits of the invented breeder. All of it is invented and says so."""

from datetime import date, timedelta
from typing import Any

from breeder.carriers import rule_actions
from breeder.carriers.models import CarrierRule, MovementRule, Permit
from breeder.people.models import Person

INVENTED = "Invented for this demo; no rule"
OFFICE, KIND = "an invented office", "Form IO-9"
HOME = "US-NY"
COVERED = [
    "US-NY", "US-VT", "US-NC", "US-MI", "US-AZ", "US-MN", "US-GA", "US-ME", "US-PA", "US-NH", "US-VA", "US-MA",
]  # fmt: skip
LOOKED_UP_DAYS, GOOD_FOR_DAYS = 40, 365
RECEIVES = ("Xanthe Rowe", "US-LA")


def write_rules(today: date, by: Any) -> None:
    """Write the rules in force before the week: isopods need a permit, springtails none, the post takes both."""
    looked = _looked_up(today)
    rule_actions.keep(
        MovementRule(
            taxon="Isopoda", origin="US", destination="US", across_only=True, effect=MovementRule.Effect.PERMIT,
            permit_kind=KIND, authority=OFFICE, **looked,
        ),
        by=by,
    )  # fmt: skip
    for taxon, destination in (("Isopoda", HOME), ("Collembola", "US")):
        rule = MovementRule(taxon=taxon, destination=destination, effect=MovementRule.Effect.ALLOWED, **looked)
        rule_actions.keep(rule, by=by)
    rule_actions.keep(
        CarrierRule(carrier="Post", takes=CarrierRule.Takes.YES, marking="Live Animals", most_days=5, **looked), by=by
    )
    for permit in _permits(today):
        rule_actions.keep(permit, by=by)


def expire_permit(today: date, by: Any) -> None:
    """Let a customer's permit expire after the order was taken: then no one may send the box."""
    permit = Permit.objects.get(person__name=RECEIVES[0])
    permit.valid_until = today - timedelta(days=1)
    rule_actions.keep(permit, by=by)


def _looked_up(today: date) -> dict[str, Any]:
    looked = today - timedelta(days=LOOKED_UP_DAYS)
    return {
        "citation": INVENTED,
        "verified": True,
        "checked_on": looked,
        "recheck_on": looked + timedelta(days=GOOD_FOR_DAYS),
    }


def _permits(today: date) -> list[Permit]:
    begun, year = today - timedelta(days=LOOKED_UP_DAYS), timedelta(days=GOOD_FOR_DAYS)
    scope = {"issuer": OFFICE, "kind": KIND, "taxa": ["Isopoda"]}
    name, region = RECEIVES
    return [
        Permit(
            number="0417", origins=[HOME], destinations=COVERED, valid_from=begun, valid_until=begun + year,
            conditions="Two barriers against escape", **scope,
        ),
        Permit(
            number="0233", origins=[HOME], destinations=COVERED, valid_from=begun - year,
            valid_until=begun - timedelta(days=1), **scope,
        ),
        Permit(
            number="0398", person=Person.objects.get(name=name), direction=Permit.Direction.RECEIVE,
            destinations=[region], valid_from=begun, valid_until=begun + year, **scope,
        ),
    ]  # fmt: skip
