"""Tables of rules and permits."""

from collections.abc import Sequence
from datetime import date
from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

from breeder.carriers.models import CarrierRule, MovementRule, Permit
from breeder.core.compliance.acceptance import month_day_text
from breeder.core.compliance.regions import region_name

BESIDE = {"td": {"class": "beside"}}
FIRST = {"td": {"unlabelled": True}}


class OnRecordTable(tables.Table):
    """The columns of every list of rules: where a rule is written, and when the keeper looked it up."""

    citation = tables.Column("Where it is written", orderable=False)
    checked_on = tables.Column("Looked up", empty_values=())

    def __init__(self, *args: Any, today: date, edits: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today, self.edits = today, edits

    def render_citation(self, record: MovementRule | CarrierRule) -> str:
        return format_html('<a href="{}">{}</a>', record.url, record.citation) if record.url else record.citation

    def render_checked_on(self, record: MovementRule | CarrierRule) -> str:
        if not record.verified or record.checked_on is None or record.recheck_on is None:
            return format_html('<span class="tag">{}</span>', "unverified example")
        if record.recheck_on < self.today:
            return format_html('<span class="rust">{}</span>', f"{record.checked_on:%-d %b %Y}, look again")
        return f"{record.checked_on:%-d %b %Y}, good until {record.recheck_on:%-d %b %Y}"

    def linked(self, record: Any, name: str, label: str) -> str:
        """Return a label that links to the form of a record, for a user who may change it."""
        if not self.edits:
            return label
        return format_html('<a href="{}">{}</a>', reverse(f"carriers:{name}", args=[record.pk]), label)


class MovementTable(OnRecordTable):
    """Movement rules: what may go where."""

    taxon = tables.Column("What", empty_values=(), attrs=FIRST)
    destination = tables.Column("Into", empty_values=())
    effect = tables.Column("What holds there")

    class Meta:
        sequence = ("taxon", "destination", "effect", "citation", "checked_on")
        empty_text = "No rule is on record. Write the first one down: what you looked up, and where it is written."
        order_by = ("destination", "taxon")

    def render_taxon(self, record: MovementRule) -> str:
        return self.linked(record, "rule", record.taxon or "what is not listed")

    def render_destination(self, record: MovementRule) -> str:
        into, origin = region_name(record.destination), region_name(record.origin)
        if record.across_only and record.origin == record.destination:
            return f"from state to state of {into}" if record.origin else "across any border"
        start = f", from {origin}" if record.origin else ""
        return f"{into}{start}{', not within one state' if record.across_only else ''}"

    def render_effect(self, record: MovementRule) -> str:
        effect = record.get_effect_display().lower()
        return f"{effect} ({record.permit_kind})" if record.permit_kind else effect


class CarrierTable(OnRecordTable):
    """Carriers' rules: what they take."""

    carrier = tables.Column("Carrier", empty_values=(), attrs=FIRST)
    taxon = tables.Column("What", empty_values=())
    takes = tables.Column("Taken", empty_values=())

    class Meta:
        sequence = ("carrier", "taxon", "takes", "citation", "checked_on")
        empty_text = "Nothing is on record of what carriers take. Ask yours, and write down what they say."
        order_by = ("carrier", "taxon")

    def render_carrier(self, record: CarrierRule) -> str:
        return self.linked(record, "carrier_rule", str(record.service or record.carrier))

    def render_taxon(self, record: CarrierRule) -> str:
        return record.taxon or "all live invertebrates"

    def render_takes(self, record: CarrierRule) -> str:
        return "; ".join(rule_terms(record))


class PermitTable(tables.Table):
    """Permits and what they cover."""

    number = tables.Column("Permit", attrs=FIRST)
    person = tables.Column("Held by", default="me", orderable=False, attrs=BESIDE)
    taxa = tables.Column("For", orderable=False)
    destinations = tables.Column("Into", empty_values=(), orderable=False)
    valid_until = tables.Column("Counts", empty_values=())

    class Meta:
        empty_text = "No permit is on record. Write yours down, and rules that ask for it are met."
        order_by = "-valid_until"

    def __init__(self, *args: Any, today: date, edits: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today, self.edits = today, edits

    def render_number(self, record: Permit) -> str:
        label = f"{record} of {record.issuer}"
        if not self.edits:
            return label
        return format_html('<a href="{}">{}</a>', reverse("carriers:permit", args=[record.pk]), label)

    def render_taxa(self, value: Sequence[str]) -> str:
        return ", ".join(value)

    def render_destinations(self, record: Permit) -> str:
        return ", ".join(map(region_name, record.destinations)) or "anywhere"

    def render_valid_until(self, record: Permit) -> str:
        if record.valid_until < self.today:
            return format_html('<span class="rust">{}</span>', f"ran out on {record.valid_until:%-d %b %Y}")
        start = f"from {record.valid_from:%-d %b %Y} " if record.valid_from > self.today else ""
        return f"{start}until {record.valid_until:%-d %b %Y}"


def rule_terms(rule: CarrierRule) -> list[str]:
    """Return the terms of a carrier's rule, one clause each."""
    terms = [{"takes": "yes", "agreement": "under an agreement", "refuses": "no"}[rule.takes]]
    if rule.season_from:
        terms.append(f"{month_day_text(rule.season_from)} to {month_day_text(rule.season_until)}")
    if rule.most_days is not None:
        terms.append(f"{rule.most_days} working {'day' if rule.most_days == 1 else 'days'} at most")
    if rule.domestic_only:
        terms.append("within the country")
    return terms
