"""Places, their weather hours, and what was learned about the sources."""

from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import models

from breeder.weather import place_bias


class Place(models.Model):
    """A rounded place (0.01°) with weather; it never holds the name of a person."""

    label = models.CharField(max_length=80)
    latitude = models.DecimalField(max_digits=5, decimal_places=2)
    longitude = models.DecimalField(max_digits=6, decimal_places=2)
    timezone = models.CharField(max_length=60)
    altitude_m = models.SmallIntegerField("height above the sea, m", null=True, blank=True)
    wanted_at = models.DateTimeField("fresh hours were asked for at", null=True, blank=True, editable=False)

    class Meta:
        ordering = ["label"]
        constraints = [models.UniqueConstraint(fields=["latitude", "longitude"], name="place_kept_once")]

    def __str__(self) -> str:
        return self.label

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.timezone)


class Forecast(models.Model):
    """Hourly air temperatures of a place as received: UTC, °C, gaps as null, never filled silently."""

    class Source(models.TextChoices):
        RECORDED = "recorded", "recorded hours"
        FILE = "file", "file of hours"
        BY_HAND = "by hand", "lows and highs typed by hand"
        NWS = "nws", "US National Weather Service"
        MET = "met", "MET Norway"
        OPEN_METEO = "open-meteo", "Open-Meteo"

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="forecasts")
    source = models.CharField(max_length=10, choices=Source)
    issued_at = models.DateTimeField(db_index=True)
    received_at = models.DateTimeField()
    starts_at = models.DateTimeField("first hour")
    hours_c: Any = models.JSONField("air temperature by hour, °C")
    daily: Any = models.JSONField("lows and highs as typed", default=list)
    extra_sd_c = models.FloatField("extra spread of this kind of source, °C", default=0.0)
    quality = models.TextField("step of the source at each hour, in h; - where missing", blank=True)
    spread_c: Any = models.JSONField("spread that the source gives by hour, °C; empty if none", default=list)
    provenance: Any = models.JSONField("model, grid, digest and remarks", default=dict)
    credit = models.CharField("where it came from", max_length=240, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["-issued_at", "-id"]

    def __str__(self) -> str:
        return f"{self.place}, issued {self.issued_at:%Y-%m-%d %H:%M}"


class Fetch(models.Model):
    """The last answer of a service for a place: when to ask again, and what went wrong."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="fetches")
    service = models.CharField(max_length=10)
    endpoint = models.CharField(max_length=16)
    asked_at = models.DateTimeField()
    good_until = models.DateTimeField("not to be asked again before")
    last_modified = models.CharField("as the service wrote it", max_length=40, blank=True)
    body = models.TextField("kept only where a further question rests on it", blank=True)
    url = models.CharField("where that answer came from, without any key", max_length=300, blank=True)
    trouble = models.TextField("what went wrong, in a sentence", blank=True)
    forecast = models.ForeignKey(Forecast, null=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["-asked_at"]
        constraints = [models.UniqueConstraint(fields=["place", "service", "endpoint"], name="fetch_kept_once")]

    def __str__(self) -> str:
        return f"{self.service} {self.endpoint} for {self.place}"


class Host(models.Model):
    """How a service's host answered lately, so that it is asked gently and gets a rest after failures."""

    name = models.CharField(max_length=120, unique=True)
    asked_at = models.DateTimeField(null=True)
    failures = models.PositiveSmallIntegerField("failures in a row", default=0)
    closed_until = models.DateTimeField("left alone until", null=True)

    def __str__(self) -> str:
        return self.name


class Lease(models.Model):
    """The right of one process to do a job; it expires if the process dies."""

    name = models.CharField(max_length=60, unique=True)
    holder = models.CharField(max_length=40, blank=True)
    until = models.DateTimeField()

    def __str__(self) -> str:
        return self.name


class Observation(models.Model):
    """A measured hour of air temperature, with who measured it."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="observations")
    at = models.DateTimeField("whole hour, UTC")
    observed_c = models.FloatField("air temperature, °C")
    credit = models.CharField("who measured it", max_length=240, blank=True)

    class Meta:
        ordering = ["at"]
        constraints = [models.UniqueConstraint(fields=["place", "at"], name="hour_observed_once")]

    def __str__(self) -> str:
        return f"{self.place}, {self.at:%Y-%m-%d %H:%M}"


class ErrorPair(models.Model):
    """The forecast and the measured temperature of one hour."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="error_pairs")
    source = models.CharField(max_length=10, choices=Forecast.Source)
    issued_at = models.DateTimeField()
    valid_at = models.DateTimeField()
    forecast_c = models.FloatField()
    observed_c = models.FloatField()

    class Meta:
        ordering = ["valid_at", "issued_at"]
        constraints = [
            models.UniqueConstraint(fields=["place", "source", "issued_at", "valid_at"], name="pair_kept_once")
        ]

    def __str__(self) -> str:
        return f"{self.place}, {self.valid_at:%Y-%m-%d %H:%M} as of {self.issued_at:%Y-%m-%d %H:%M}"


class Learnt(models.Model):
    """What the error pairs of a place taught about a source at a lead: its bias and its spread."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="learnt")
    source = models.CharField(max_length=10, choices=Forecast.Source)
    lead_until_h = models.PositiveSmallIntegerField("for leads below, h")
    days = models.PositiveIntegerField("days it was learnt from")
    low_bias_c = models.FloatField("to be added to the day's low, °C")
    high_bias_c = models.FloatField("to be added to the day's high, °C")
    low_share = models.FloatField("what is left at the low, in parts of the usual error")
    high_share = models.FloatField("what is left at the high, in parts of the usual error")
    learnt_at = models.DateTimeField()

    class Meta:
        ordering = ["source", "lead_until_h"]
        constraints = [models.UniqueConstraint(fields=["place", "source", "lead_until_h"], name="learnt_once_a_lead")]

    def __str__(self) -> str:
        return f"{self.place}, {self.source} below {self.lead_until_h} h"

    @property
    def lesson(self) -> place_bias.Lesson:
        """Return the lesson as the check uses it."""
        return place_bias.Lesson(
            place_bias.BiasSide(self.days, self.low_bias_c, self.low_share),
            place_bias.BiasSide(self.days, self.high_bias_c, self.high_share),
        )


class UsualMonth(models.Model):
    """The mean low and high of a month at a place: a planning hint that no box check uses."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="usual_months")
    month = models.PositiveSmallIntegerField("1 January to 12 December")
    low_c = models.FloatField("mean low, °C")
    high_c = models.FloatField("mean high, °C")
    credit = models.CharField("where it came from", max_length=240, blank=True)

    class Meta:
        ordering = ["month"]
        constraints = [
            models.UniqueConstraint(fields=["place", "month"], name="month_usual_once"),
            models.CheckConstraint(condition=models.Q(month__gte=1, month__lte=12), name="usual_month_is_a_month"),
        ]

    def __str__(self) -> str:
        return f"{self.place}, month {self.month}"
