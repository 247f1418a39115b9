"""Carriers' services, closures, and the rules and permits on where animals may go and who carries them."""

from datetime import time
from typing import Any

from django.db import models
from django.db.models import F, Q

from breeder.core.compliance import facts
from breeder.people.models import Person


class Service(models.Model):
    """A carrier's service as this keeper uses it, with what is known about each leg of its route."""

    class Network(models.TextChoices):
        DEPOTS = "depots", "in depots at room temperature, or not known"
        MIXED = "mixed", "partly in unheated trailers"
        TRAILERS = "trailers", "in unheated trailers"

    class Doorstep(models.TextChoices):
        UNKNOWN = "unknown", "in shade or sun, not known"
        SHADE = "shade", "in the shade"
        SUN = "sun", "in the sun"

    carrier = models.CharField(max_length=60)
    name = models.CharField(max_length=60)
    weekdays: Any = models.JSONField("posted on (0 Monday … 6 Sunday)", default=list)
    least_days = models.PositiveSmallIntegerField(default=1)
    usual_days = models.PositiveSmallIntegerField(default=2)
    latest_days = models.PositiveSmallIntegerField("planned latest day", default=4)
    delay_shares: Any = models.JSONField("share of parcels 0, 1, 2 … days late", default=list)
    cut_off = models.TimeField("handed over by")
    delivers_from = models.TimeField(default="09:00")
    delivers_until = models.TimeField(default="17:00")
    to_doorstep = models.BooleanField(default=True)
    to_counter = models.BooleanField(default=True)
    doorstep_hours = models.DecimalField(
        "hours on a doorstep until somebody is home", max_digits=3, decimal_places=1, default=4
    )
    truck_at = models.TimeField("leaves the depot in the evening at", default=time(20))
    network = models.CharField("through the night", max_length=8, choices=Network, default=Network.DEPOTS)
    hub_c = models.DecimalField("inside its depots, °C", max_digits=3, decimal_places=1, null=True, blank=True)
    van_hours = models.DecimalField("hours in the van", max_digits=3, decimal_places=1, null=True, blank=True)
    doorstep = models.CharField("doorstep", max_length=8, choices=Doorstep, default=Doorstep.UNKNOWN)
    price = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    marking = models.CharField("marking the carrier asks for", max_length=160, blank=True)
    source = models.CharField(max_length=240, blank=True)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["carrier", "usual_days", "name"]
        constraints = [
            models.UniqueConstraint(fields=["carrier", "name"], name="service_named_once"),
            models.CheckConstraint(
                condition=Q(least_days__lte=F("usual_days")) & Q(usual_days__lte=F("latest_days")),
                name="service_days_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.carrier} {self.name}"


class Closure(models.Model):
    """A day on which a carrier neither collects nor delivers."""

    carrier = models.CharField(max_length=60)
    on = models.DateField()
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["on"]
        constraints = [models.UniqueConstraint(fields=["carrier", "on"], name="closure_once_a_day")]

    def __str__(self) -> str:
        return f"{self.name}, {self.on}"


class OnRecord(models.Model):
    """The evidence of a rule: where it is written, when the keeper looked it up, and until when that counts."""

    citation = models.CharField("where it is written", max_length=240)
    url = models.URLField("address of that page", max_length=240, blank=True)
    verified = models.BooleanField("I have looked this up myself", default=False)
    checked_on = models.DateField("looked up on", null=True, blank=True)
    recheck_on = models.DateField("to be looked up again by", null=True, blank=True)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        abstract = True


LOOKED_UP = Q(verified=False) | (Q(checked_on__isnull=False) & Q(recheck_on__isnull=False))


class MovementRule(OnRecord):
    """An authority's rule on moving a taxon between regions; without a taxon, on everything not listed."""

    class Effect(models.TextChoices):
        FORBIDDEN = facts.Effect.FORBIDDEN.value
        PERMIT = facts.Effect.PERMIT.value, "needs a permit"
        CONDITIONS = facts.Effect.CONDITIONS.value, "allowed with conditions"
        ALLOWED = facts.Effect.ALLOWED.value

    taxon = models.CharField("species or higher taxon", max_length=80, blank=True)
    origin = models.CharField("from (ISO 3166)", max_length=6, blank=True)
    destination = models.CharField("into (ISO 3166)", max_length=6, blank=True)
    across_only = models.BooleanField("only from one state or country into another", default=False)
    effect = models.CharField(max_length=10, choices=Effect)
    authority = models.CharField("whose rule it is", max_length=80, blank=True)
    permit_kind = models.CharField("kind of permit that is asked for", max_length=40, blank=True)
    conditions = models.CharField("conditions in words", max_length=400, blank=True)

    class Meta:
        ordering = ["destination", "taxon", "authority", "id"]
        constraints = [
            models.CheckConstraint(condition=LOOKED_UP, name="movement_rule_says_when"),
            models.UniqueConstraint(
                fields=["taxon", "origin", "destination", "authority", "across_only", "verified"],
                name="movement_rule_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.taxon or 'What is not listed'} into {self.destination or 'anywhere'}"


class CarrierRule(OnRecord):
    """A rule of a carrier or a service on live animals of a taxon; without a taxon, on all animals."""

    class Takes(models.TextChoices):
        YES = facts.Takes.YES.value, "takes them"
        AGREEMENT = facts.Takes.AGREEMENT.value, "takes them under an agreement"
        NO = facts.Takes.NO.value, "does not take them"

    carrier = models.CharField(max_length=60)
    service = models.ForeignKey(Service, null=True, blank=True, on_delete=models.PROTECT, related_name="carrier_rules")
    taxon = models.CharField("species or higher taxon", max_length=80, blank=True)
    takes = models.CharField(max_length=10, choices=Takes)
    season_from = models.CharField("season from (month-day)", max_length=5, blank=True)
    season_until = models.CharField("season until (month-day)", max_length=5, blank=True)
    most_days = models.PositiveSmallIntegerField("longest planned transit, working days", null=True, blank=True)
    domestic_only = models.BooleanField("only within the country", default=False)
    marking = models.CharField("marking asked for", max_length=160, blank=True)
    conditions = models.CharField("conditions in words", max_length=400, blank=True)

    class Meta:
        ordering = ["carrier", "service", "taxon", "id"]
        constraints = [
            models.CheckConstraint(condition=LOOKED_UP, name="carrier_rule_says_when"),
            models.CheckConstraint(
                condition=Q(season_from="", season_until="") | (~Q(season_from="") & ~Q(season_until="")),
                name="carrier_rule_season_whole",
            ),
            models.UniqueConstraint(
                fields=["carrier", "taxon", "verified"], condition=Q(service=None), name="carrier_rule_once"
            ),
            models.UniqueConstraint(fields=["carrier", "service", "taxon", "verified"], name="service_rule_once"),
        ]

    def __str__(self) -> str:
        return f"{self.service or self.carrier}: {self.taxon or 'all live invertebrates'}"


class Permit(models.Model):
    """A permit of the keeper or a customer, with its scope."""

    class Direction(models.TextChoices):
        SEND = facts.Direction.SEND.value, "to send"
        RECEIVE = facts.Direction.RECEIVE.value, "to receive"
        BOTH = facts.Direction.BOTH.value, "to send and to receive"

    number = models.CharField(max_length=60)
    issuer = models.CharField("issued by", max_length=80)
    kind = models.CharField("kind of permit", max_length=40, blank=True)
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="permits", verbose_name="held by"
    )
    direction = models.CharField(max_length=8, choices=Direction, default=Direction.SEND)
    taxa: Any = models.JSONField("species or higher taxa", default=list)
    origins: Any = models.JSONField("from (ISO 3166)", default=list)
    destinations: Any = models.JSONField("into (ISO 3166)", default=list)
    valid_from = models.DateField()
    valid_until = models.DateField()
    conditions = models.CharField("conditions in words", max_length=400, blank=True)

    class Meta:
        ordering = ["-valid_until", "number"]
        constraints = [
            models.UniqueConstraint(fields=["issuer", "number"], name="permit_once"),
            models.CheckConstraint(condition=Q(valid_from__lte=F("valid_until")), name="permit_days_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.number}".strip()
