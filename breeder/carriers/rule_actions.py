"""What the keeper does with rules and permits."""

import csv
from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Model

from breeder.base.action_frame import action, refuse_twice
from breeder.base.edit_conflicts import fresh_row
from breeder.base.steps import log
from breeder.carriers.models import CarrierRule, MovementRule, Permit
from breeder.carriers.rule_csv import RULE_KEY
from breeder.carriers.rule_forms import TWICE

EXAMPLES = settings.BASE_DIR / "fixtures"
EXAMPLE_NOTE = "Unverified example, never law and never advice."
MEANWHILE = "A rule of the file was written down by somebody else just now, so nothing was kept. Send the file again."
# What makes two rules the same.
KEYS: dict[type[Model], tuple[str, ...]] = {
    MovementRule: RULE_KEY,
    CarrierRule: ("carrier", "service", "taxon", "verified"),
}
OnBook = MovementRule | CarrierRule | Permit


@action()
def keep(row: OnBook, *, by: Any) -> OnBook:
    """Write a rule or a permit into the book, new or changed. Raises ValidationError where it is there twice."""
    new = row.pk is None
    with refuse_twice(ValidationError(TWICE, code="twice")):
        row.save()
    log(f"{_called(row)} {'added' if new else 'changed'}", str(row), _said(row), by=by)
    return row


@action(lock=fresh_row)
def remove(row: OnBook, *, by: Any) -> None:
    """Take a rule or a permit out of the book; the log keeps what it said."""
    log(f"{_called(row)} removed", str(row), f"Taken out: {_said(row)}", by=by)
    row.delete()


@action()
def keep_file(rules: Sequence[MovementRule], *, by: Any) -> int:
    """Write the rules of a file into the book, all of them or none; one that is there already is replaced.

    Raises ValidationError where one of them was written down by somebody else while the file was read.
    """
    with refuse_twice(ValidationError(MEANWHILE, code="twice")):
        for rule in rules:
            rule.save()
    many = "1 rule of a file was" if len(rules) == 1 else f"{len(rules)} rules of a file were"
    log("rules loaded", "file", f"{many} written into the book.", by=by)
    return len(rules)


def load_example_rules(*, by: Any = None) -> int:
    """Add the unverified examples that the book does not hold yet; touch no other, and return how many."""
    with transaction.atomic(durable=True):
        added = sum(_add_example(MovementRule, row) for row in _rows("movement_rules.csv"))
        added += sum(_add_example(CarrierRule, row) for row in _rows("carrier_rules.csv"))
        if added:
            log("rules loaded", "examples", f"{added} unverified examples of rules were added; look each up.", by=by)
    return added


def _rows(name: str) -> list[dict[str, str]]:
    with (EXAMPLES / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _add_example(kind: type[Model], row: dict[str, str]) -> bool:
    values: dict[str, Any] = dict(row) | {"verified": False, "note": f"{EXAMPLE_NOTE} {row['note']}".strip()}
    for name in ("across_only", "domestic_only"):
        if name in values:
            values[name] = values[name] == "yes"
    if kind is CarrierRule:
        values |= {"service": None, "most_days": int(row["most_days"]) if row["most_days"] else None}
    key = {name: values.pop(name) for name in KEYS[kind]}
    return bool(kind._default_manager.get_or_create(**key, defaults=values)[1])


def _called(row: OnBook) -> str:
    return {MovementRule: "rule", CarrierRule: "carrier's rule", Permit: "permit"}[type(row)]


def _said(row: OnBook) -> str:
    """Return what a row says, for the log."""
    if isinstance(row, Permit):
        return f"{row} of {row.issuer}, {', '.join(row.taxa)}, until {row.valid_until:%-d %B %Y}."
    what = row.get_effect_display() if isinstance(row, MovementRule) else row.get_takes_display()
    seen = f"looked up on {row.checked_on:%-d %B %Y}" if row.verified and row.checked_on else "unverified"
    return f"{row}: {what.lower()}, {row.citation}, {seen}."
