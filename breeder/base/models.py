"""The household's settings, the log, photos, and tokens of forms that were sent."""

from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from breeder.base.postcodes import fault_of_zone

SHARE = [MinValueValidator(Decimal("0")), MaxValueValidator(Decimal("1"))]


def known_zone(name: str) -> None:
    """Refuse a time zone that the zone database does not hold."""
    if fault := fault_of_zone(name):
        raise ValidationError(fault, code="unknown_zone")


class Setting(models.Model):
    """The household's own choices; one row, made with the first keeper."""

    ONLY = 1

    class WeatherService(models.TextChoices):
        NONE = "", "none: hours come from files or by hand"
        NWS = "nws", "US National Weather Service (United States only, no key)"
        MET = "met", "MET Norway (the whole world, no key)"
        OPEN_METEO = "open-meteo", "Open-Meteo, with your own key or your own server"

    class SecondService(models.TextChoices):
        """Services that may be asked beside the chosen one: those without a key."""

        NONE = "", "none"
        NWS = "nws", "US National Weather Service"
        MET = "met", "MET Norway"

    id = models.PositiveSmallIntegerField(primary_key=True, default=ONLY, editable=False)
    trade_name = models.CharField("name on paper and public list", max_length=80, default="My stock")
    return_address = models.TextField("return address", blank=True, max_length=400)
    terms = models.TextField("your terms, printed on the packing slip", blank=True, max_length=2000)
    timezone = models.CharField("time zone", max_length=60, default="UTC", validators=[known_zone])
    fahrenheit = models.BooleanField("temperatures in °F", default=False)
    inches = models.BooleanField("sizes in inches and ounces", default=False)
    currency = models.CharField("currency (ISO 4217)", max_length=3, default="USD")
    public_list = models.BooleanField("show the public list", default=True)
    few_below_packs = models.PositiveSmallIntegerField("say 'few' below this many packs", default=3)
    hold_days = models.PositiveSmallIntegerField("days an unpaid order holds animals", default=3)
    comfort_tolerance = models.DecimalField(max_digits=4, decimal_places=3, default=Decimal("0.20"), validators=SHARE)
    hard_tolerance = models.DecimalField(max_digits=4, decimal_places=3, default=Decimal("0.05"), validators=SHARE)
    latitude = models.DecimalField("latitude of home, to 0.01", max_digits=5, decimal_places=2, null=True, blank=True)
    longitude = models.DecimalField("longitude of home, to 0.01", max_digits=6, decimal_places=2, null=True, blank=True)
    region = models.CharField("state or country of home (ISO 3166)", max_length=6, blank=True)
    weather_service = models.CharField(max_length=10, choices=WeatherService, default=WeatherService.NONE, blank=True)
    weather_second = models.CharField(max_length=10, choices=SecondService, default=SecondService.NONE, blank=True)
    weather_contact = models.CharField("contact shown to the weather service", max_length=120, blank=True)
    weather_key = models.CharField("key of the weather service", max_length=120, blank=True)
    weather_url = models.URLField("address of your own weather server or relay", max_length=200, blank=True)
    demo = models.BooleanField(default=False, editable=False)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="setting_is_one_row")]

    def __str__(self) -> str:
        return self.trade_name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.timezone)


class LogRow(models.Model):
    """One line of the log: who did what, when, and why where a reason was asked for."""

    at = models.DateTimeField(db_index=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    did = models.CharField("what was done", max_length=60)
    about = models.CharField(max_length=120)
    sentence = models.TextField()
    reason = models.TextField(blank=True)
    facts: Any = models.JSONField(default=dict)

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return self.sentence


class Photo(models.Model):
    """A photo whose position and camera notes were stripped before it was kept."""

    file = models.ImageField(upload_to="%Y/%m/")
    taken_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    def __str__(self) -> str:
        return f"Photo of {self.taken_at:%Y-%m-%d}"


class Token(models.Model):
    """A form's token once its action was done: where it was sent, a digest of what was typed, the answer it got."""

    key = models.CharField(max_length=40, primary_key=True)
    form = models.CharField(max_length=200, default="", blank=True)
    body = models.CharField(max_length=64, default="", blank=True)
    answer = models.CharField(max_length=300)
    at = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return self.key
