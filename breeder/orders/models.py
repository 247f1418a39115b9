"""What is offered, and what people agreed to take."""

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q

from breeder.cultures.models import Culture, Promise, Stage
from breeder.cultures.phrases import animals
from breeder.people.models import Address, Person
from breeder.species.models import Line


class Offer(models.Model):
    """A pack that a line is sold in."""

    class Kind(models.TextChoices):
        STARTER = "starter", "starter of unsexed animals"
        SEXED = "sexed", "sexed animals"
        SHOWING = "showing", "females that show the form"
        CUP = "cup", "cup of culture"

    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="offers")
    kind = models.CharField(max_length=8, choices=Kind)
    stage = models.CharField(max_length=6, choices=Stage)
    number = models.PositiveIntegerField("animals (or cups) in the pack", validators=[MinValueValidator(1)])
    overcount = models.PositiveIntegerField("put in on top", default=0)
    males = models.PositiveIntegerField(default=0)
    females = models.PositiveIntegerField(default=0)
    price = models.DecimalField(
        max_digits=8, decimal_places=2, null=True, blank=True, validators=[MinValueValidator(0)]
    )
    public = models.BooleanField("on the public list", default=True)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["line", "kind", "number"]
        constraints = [
            models.CheckConstraint(condition=Q(number__gte=F("males") + F("females")), name="offer_sexes_within"),
        ]

    def __str__(self) -> str:
        return f"{self.pack}, {self.line}"

    @property
    def pack(self) -> str:
        """Return what the pack holds, in trade words."""
        if self.kind == self.Kind.CUP:
            return "cup" if self.number == 1 else f"{self.number} cups"
        if self.kind == self.Kind.SEXED:
            return f"{self.males}.{self.females} {self.stage}"
        if self.kind == self.Kind.SHOWING:
            return f"{self.number} showing {'female' if self.number == 1 else 'females'}"
        return f"starter of {animals(self.number, self.stage)}"

    @property
    def held(self) -> int:
        """Return how many animals one pack takes out of the line, overcount included."""
        return self.number + self.overcount


class Order(models.Model):
    """What one person agreed to take, and until when it is held for them."""

    class Status(models.TextChoices):
        HELD = "held"
        PAID = "paid"
        SENT = "sent"
        CANCELLED = "cancelled"
        LAPSED = "lapsed"

    number = models.PositiveIntegerField(unique=True)
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="orders")
    address = models.ForeignKey(Address, null=True, blank=True, on_delete=models.PROTECT, related_name="orders")
    status = models.CharField(max_length=10, choices=Status, default=Status.HELD)
    agreed_at = models.DateTimeField()
    # Empty where the hold never runs out by itself: money is in it, or nothing is to be paid.
    held_until = models.DateTimeField(null=True, blank=True)
    paid_at = models.DateTimeField(null=True, blank=True)
    promised_by = models.DateField("promised to be posted by", null=True, blank=True)
    postage = models.DecimalField(max_digits=8, decimal_places=2, default=0, validators=[MinValueValidator(0)])
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_because = models.CharField(max_length=240, blank=True)
    note = models.TextField(blank=True, max_length=1000)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-number"]

    def __str__(self) -> str:
        return f"order {self.number}"


class OrderLine(models.Model):
    """Packs of one offer in an order; its promise is what is set aside for it."""

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="lines")
    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="order_lines")
    culture = models.ForeignKey(Culture, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    packs = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    animals = models.PositiveIntegerField("animals in one pack, as agreed")
    overcount = models.PositiveIntegerField("on top in one pack, as agreed", default=0)
    price = models.DecimalField("price of one pack, as agreed", max_digits=8, decimal_places=2, null=True, blank=True)
    promise = models.OneToOneField(Promise, null=True, blank=True, on_delete=models.PROTECT, related_name="order_line")

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.packs} × {self.offer}"


class Payment(models.Model):
    """Money received or given back for an order; no card data is ever kept, only a reference."""

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="payments")
    amount = models.DecimalField(max_digits=8, decimal_places=2)
    on = models.DateField()
    reference = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["on", "id"]

    def __str__(self) -> str:
        return f"{self.amount} on {self.on}"
