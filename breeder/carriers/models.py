"""Postal services and the days on which a carrier carries nothing."""

from typing import Any

from django.db import models
from django.db.models import F, Q


class Service(models.Model):
    """A carrier's service as this keeper uses it."""

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
