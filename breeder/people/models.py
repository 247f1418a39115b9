"""Customers and swap partners, and the addresses their parcels go to."""

from django.db import models
from django.db.models import Q


class Person(models.Model):
    """A person who buys or swaps; after removal only the figures of their orders stay."""

    class Kind(models.TextChoices):
        CUSTOMER = "customer"
        SWAP = "swap partner", "Swap partner"

    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=12, choices=Kind, default=Kind.CUSTOMER)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    note = models.TextField(blank=True, max_length=1000)
    consent_on = models.DateField("agreed to be kept on file on", null=True, blank=True)
    removed_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["name", "id"]
        verbose_name_plural = "people"

    def __str__(self) -> str:
        return self.name


class Address(models.Model):
    """An address as it was pasted, with a place rounded to 0.01° (about 1 km) for the weather."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="addresses")
    block = models.TextField("address, as on the label", max_length=400)
    country = models.CharField("country (ISO 3166-1)", max_length=2, default="US")
    region = models.CharField("state or region (ISO 3166-2)", max_length=6, blank=True)
    postcode = models.CharField(max_length=12, blank=True)
    town = models.CharField(max_length=80, blank=True)
    latitude = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    longitude = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    timezone = models.CharField(max_length=60, blank=True)
    is_current = models.BooleanField(default=True)

    class Meta:
        ordering = ["-is_current", "-id"]
        verbose_name_plural = "addresses"
        constraints = [
            models.CheckConstraint(
                # 0,0 means unknown in postcode tables; the weather there is that of the Gulf of Guinea.
                condition=Q(latitude__isnull=True) | ~Q(latitude=0, longitude=0),
                name="address_place_is_not_0_0",
            ),
        ]

    def __str__(self) -> str:
        return self.town or self.block.splitlines()[-1]
