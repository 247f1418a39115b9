"""Places and the hours of weather received for them."""

from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import models


class Place(models.Model):
    """A rounded place (0.01°) for which weather is kept; no name of a person is ever stored with it."""

    label = models.CharField(max_length=80)
    latitude = models.DecimalField(max_digits=5, decimal_places=2)
    longitude = models.DecimalField(max_digits=6, decimal_places=2)
    timezone = models.CharField(max_length=60)

    class Meta:
        ordering = ["label"]
        constraints = [models.UniqueConstraint(fields=["latitude", "longitude"], name="place_kept_once")]

    def __str__(self) -> str:
        return self.label

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.timezone)


class Forecast(models.Model):
    """Hours of air temperature for a place as received: UTC, °C, gaps as null, never filled silently."""

    class Source(models.TextChoices):
        RECORDED = "recorded", "recorded hours"
        FILE = "file", "file of hours"
        BY_HAND = "by hand", "lows and highs typed by hand"

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="forecasts")
    source = models.CharField(max_length=10, choices=Source)
    issued_at = models.DateTimeField(db_index=True)
    received_at = models.DateTimeField()
    starts_at = models.DateTimeField("first hour")
    hours_c: Any = models.JSONField("air temperature by hour, °C")
    daily: Any = models.JSONField("lows and highs as typed", default=list)
    extra_sd_c = models.FloatField("extra spread of this kind of source, °C", default=0.0)
    credit = models.CharField("where it came from", max_length=240, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["-issued_at", "-id"]

    def __str__(self) -> str:
        return f"{self.place}, issued {self.issued_at:%Y-%m-%d %H:%M}"
