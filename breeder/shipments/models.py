"""Kits, supplies on the shelf, parcels with their contents, and the weather checks of a parcel."""

from typing import Any

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models

from breeder.carriers.models import Service
from breeder.core.thermal import verdict
from breeder.cultures.models import Culture
from breeder.orders.models import Order, OrderLine


class Supply(models.Model):
    """Boxes, liners and packs on the shelf."""

    name = models.CharField(max_length=80, unique=True)
    on_shelf = models.PositiveIntegerField(default=0)
    order_below = models.PositiveIntegerField("order more below", default=5)

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "supplies"

    def __str__(self) -> str:
        return self.name


class Kit(models.Model):
    """Box, liner and packs, with what the heat model needs to know about them."""

    name = models.CharField(max_length=80, unique=True)
    inner_m: Any = models.JSONField("inner size, m", default=list)
    layers: Any = models.JSONField("layers from the inside outwards", default=list)
    packs: Any = models.JSONField("heat, cold and phase-change packs", default=list)
    ballast_kg = models.FloatField("water ballast, kg", default=0.0, validators=[MinValueValidator(0)])
    leak_factor = models.FloatField("leakier than drawn by", default=1.0)
    measured_sd_ln = models.FloatField("spread of a measured conductance, log scale", null=True, blank=True)
    remeasure = models.BooleanField("was measured by a method that was wrong", default=False)
    air_changes_h = models.FloatField("air changes an hour", default=0.6)
    cost = models.DecimalField(max_digits=8, decimal_places=2, default=0, validators=[MinValueValidator(0)])
    active = models.BooleanField(default=True)
    note = models.CharField(max_length=240, blank=True)

    class Meta:
        ordering = ["cost", "name"]

    def __str__(self) -> str:
        return self.name


class KitPart(models.Model):
    """How many of a supply a kit uses up."""

    kit = models.ForeignKey(Kit, on_delete=models.CASCADE, related_name="parts")
    supply = models.ForeignKey(Supply, on_delete=models.PROTECT, related_name="kit_parts")
    number = models.PositiveSmallIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kit", "supply"], name="kit_part_once")]

    def __str__(self) -> str:
        return f"{self.number} × {self.supply}"


class Parcel(models.Model):
    """One box on its way to a person."""

    class Status(models.TextChoices):
        WAITING = "waiting"
        PACKED = "packed"
        SENT = "sent"
        UNPACKED = "unpacked"

    class Way(models.TextChoices):
        DOORSTEP = "doorstep"
        COUNTER = "counter", "counter (hold for pickup)"

    number = models.PositiveIntegerField(unique=True)
    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="parcels")
    kit = models.ForeignKey(Kit, null=True, blank=True, on_delete=models.PROTECT, related_name="parcels")
    service = models.ForeignKey(Service, null=True, blank=True, on_delete=models.PROTECT, related_name="parcels")
    way = models.CharField(max_length=8, choices=Way, default=Way.DOORSTEP)
    post_on = models.DateField(null=True, blank=True)
    status = models.CharField(max_length=8, choices=Status, default=Status.WAITING)
    packed_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    tracking = models.CharField(max_length=40, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["post_on", "number"]

    def __str__(self) -> str:
        return f"box {self.number}"


class ParcelItem(models.Model):
    """Animals of one order line taken from one tub for a parcel: as planned, then as packed."""

    parcel = models.ForeignKey(Parcel, on_delete=models.PROTECT, related_name="items")
    order_line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="parcel_items")
    culture = models.ForeignKey(Culture, null=True, blank=True, on_delete=models.PROTECT, related_name="parcel_items")
    planned = models.PositiveIntegerField()
    packed = models.PositiveIntegerField(null=True, blank=True)
    males = models.PositiveIntegerField(default=0)
    females = models.PositiveIntegerField(default=0)
    cups = models.PositiveSmallIntegerField("cups it goes in", default=1)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.planned} in {self.parcel}"


class Check(models.Model):
    """One answer to "may this parcel leave on this day in this kit?", with everything it was based on."""

    class Verdict(models.TextChoices):
        GO = verdict.GO, verdict.LABELS[verdict.GO]
        WITH_PACK = verdict.WITH_PACK, verdict.LABELS[verdict.WITH_PACK]
        NO_GO = verdict.NO_GO, verdict.LABELS[verdict.NO_GO]
        NOT_DECIDED = verdict.NOT_DECIDED, verdict.LABELS[verdict.NOT_DECIDED]

    parcel = models.ForeignKey(Parcel, on_delete=models.PROTECT, related_name="checks")
    made_at = models.DateTimeField(db_index=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    verdict = models.CharField(max_length=12, choices=Verdict)
    reason = models.TextField()
    digest = models.CharField("digest of the inputs", max_length=64, db_index=True)
    forecast_issued_at = models.DateTimeField(null=True, blank=True)
    seed = models.BigIntegerField()
    inputs: Any = models.JSONField()
    result: Any = models.JSONField()
    override_reason = models.TextField(blank=True)

    class Meta:
        ordering = ["-made_at", "-id"]

    def __str__(self) -> str:
        return f"{self.get_verdict_display()} for {self.parcel}"
