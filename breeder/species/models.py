"""Species and lines."""

from decimal import Decimal
from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

SHARE = [MinValueValidator(Decimal("0")), MaxValueValidator(Decimal("1"))]


class Mark(models.TextChoices):
    """How good the evidence behind a value is; pages show it next to the value."""

    MEASURED = "measured", "published measurement"
    SECOND_HAND = "second hand", "second-hand report"
    DERIVED = "derived", "derived by arithmetic"
    MEMORY = "from memory", "from memory, not checked"
    PRACTICE = "common practice", "common practice, no source"
    OWN = "own", "your own record"


class Species(models.Model):
    """A species by its Darwin Core name and what it needs; `sources` holds the source of every value."""

    class Group(models.TextChoices):
        ISOPOD = "isopod"
        SPRINGTAIL = "springtail"
        MILLIPEDE = "millipede"
        ROACH = "roach"
        SNAIL = "snail"
        OTHER = "other"

    class Reproduction(models.TextChoices):
        TWO_SEXES = "two_sexes", "males and females"
        CLONAL = "clonal", "females only, without mating"
        HERMAPHRODITE = "hermaphrodite", "each animal both"

    class Band(models.TextChoices):
        TEMPERATE = "temperate"
        TROPICAL = "tropical"

    scientific_name = models.CharField("scientific name", max_length=80)
    qualifier = models.CharField("cf., aff. or sp.", max_length=20, blank=True)
    authorship = models.CharField("author and year", max_length=80, blank=True)
    vernacular_name = models.CharField("common name", max_length=80, blank=True)
    group = models.CharField(max_length=12, choices=Group)
    family = models.CharField(max_length=60, blank=True)
    order_name = models.CharField("order", max_length=60, blank=True)
    venomous = models.BooleanField("venomous", default=False)
    secretes = models.CharField("defensive secretion", max_length=120, blank=True)

    moist_share = models.DecimalField(
        "moist part of the tub", max_digits=3, decimal_places=2, null=True, blank=True, validators=SHARE
    )
    ventilation = models.CharField(max_length=20, blank=True)
    keeping_low_c = models.DecimalField("kept from, °C", max_digits=4, decimal_places=1, null=True, blank=True)
    keeping_high_c = models.DecimalField("kept to, °C", max_digits=4, decimal_places=1, null=True, blank=True)
    moisture = models.CharField(max_length=160, blank=True)
    food = models.CharField(max_length=160, blank=True)
    calcium = models.CharField(max_length=160, blank=True)
    burrowing = models.BooleanField(null=True, blank=True)
    active_at = models.CharField("active", max_length=20, blank=True)
    adult_length_mm = models.DecimalField("adult length, mm", max_digits=5, decimal_places=1, null=True, blank=True)
    sexing = models.CharField("how sexes are told apart", max_length=240, blank=True)

    band = models.CharField("trade's temperature band", max_length=10, choices=Band, default=Band.TEMPERATE)
    comfort_low_c = models.DecimalField("comfort in the box from, °C", max_digits=4, decimal_places=1)
    comfort_high_c = models.DecimalField("comfort in the box to, °C", max_digits=4, decimal_places=1)
    hours_allowed = models.DecimalField(
        "hours allowed outside comfort", max_digits=4, decimal_places=1, default=Decimal("4")
    )
    hard_low_c = models.DecimalField("never below, °C", max_digits=4, decimal_places=1)
    hard_high_c = models.DecimalField("never above, °C", max_digits=4, decimal_places=1)

    reproduction = models.CharField(max_length=14, choices=Reproduction, default=Reproduction.TWO_SEXES)
    share_female = models.DecimalField(max_digits=3, decimal_places=2, default=Decimal("0.5"), validators=SHARE)
    generation_days = models.PositiveIntegerField("generation time, days", null=True, blank=True)
    brood = models.DecimalField("young in a brood", max_digits=6, decimal_places=1, null=True, blank=True)
    broods_a_year = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    mature_days = models.PositiveIntegerField("days to maturity", null=True, blank=True)
    young_survival = models.DecimalField(max_digits=3, decimal_places=2, null=True, blank=True, validators=SHARE)
    adult_life_months = models.DecimalField(max_digits=5, decimal_places=1, default=Decimal("24"))

    sources: Any = models.JSONField(default=dict, help_text="field name → [mark, source in words]")

    class Meta:
        ordering = ["scientific_name", "qualifier"]
        verbose_name_plural = "species"
        constraints = [
            models.UniqueConstraint(fields=["scientific_name", "qualifier"], name="species_named_once"),
            models.CheckConstraint(
                condition=Q(hard_low_c__lte=models.F("comfort_low_c"))
                & Q(comfort_low_c__lt=models.F("comfort_high_c"))
                & Q(comfort_high_c__lte=models.F("hard_high_c")),
                name="species_limits_in_order",
            ),
            models.CheckConstraint(
                condition=Q(keeping_low_c__lte=models.F("keeping_high_c")), name="species_keeping_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.scientific_name} {self.qualifier}".strip()


class Line(models.Model):
    """A species, or one color form or locality of it, that breeds apart from the others."""

    class Status(models.TextChoices):
        KEPT = "kept"
        FOUNDING = "founding"
        ENDING = "ending"
        CLOSED = "closed"

    class SoldBy(models.TextChoices):
        HEAD = "head", "by the animal"
        CUP = "cup", "by the cup"

    class ShownBy(models.TextChoices):
        BOTH = "both", "both sexes"
        FEMALES = "females", "only females"
        MALES = "males", "only males"

    species = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="lines")
    form_name = models.CharField("form", max_length=60, blank=True)
    locality = models.CharField(max_length=80, blank=True)
    provenance = models.TextField("where it came from", blank=True, max_length=400)
    status = models.CharField(max_length=10, choices=Status, default=Status.KEPT)
    sold_by = models.CharField(max_length=5, choices=SoldBy, default=SoldBy.HEAD)
    shown_by = models.CharField("the form is shown by", max_length=8, choices=ShownBy, default=ShownBy.BOTH)
    irreplaceable = models.BooleanField("cannot be bought again", default=False)
    not_for_sale = models.CharField("not for sale, because", max_length=160, blank=True)
    resting_until = models.DateField(null=True, blank=True)
    frozen_because = models.CharField("frozen, because", max_length=160, blank=True)
    frozen_on = models.DateField(null=True, blank=True)

    adults_kept = models.PositiveIntegerField("adults that stay", default=20)
    young_kept = models.PositiveIntegerField("young that stay", default=20)
    each_sex_kept = models.PositiveIntegerField("of each sex that stay", default=3)
    genetics_bind = models.BooleanField("the genetic number binds", default=False)
    inbreeding_limit = models.DecimalField(
        "inbreeding allowed, as a share",
        max_digits=3,
        decimal_places=2,
        default=Decimal("0.10"),
        validators=[MinValueValidator(Decimal("0.01")), MaxValueValidator(Decimal("0.50"))],
    )
    horizon_years = models.PositiveSmallIntegerField(
        "within years", default=5, validators=[MinValueValidator(1), MaxValueValidator(50)]
    )
    effective_share = models.DecimalField(
        "share of the adults that counts",
        max_digits=3,
        decimal_places=2,
        default=Decimal("0.30"),
        validators=[MinValueValidator(Decimal("0.05")), MaxValueValidator(Decimal("1"))],
    )
    harvest_share = models.DecimalField(
        "share of young taken between counts",
        max_digits=3,
        decimal_places=2,
        null=True,
        blank=True,
        default=Decimal("0.30"),
        validators=SHARE,
    )
    handling_loss = models.DecimalField(max_digits=3, decimal_places=2, default=Decimal("0"), validators=SHARE)
    confidence = models.DecimalField(
        max_digits=3,
        decimal_places=2,
        default=Decimal("0.95"),
        validators=[MinValueValidator(Decimal("0.5")), MaxValueValidator(Decimal("0.99"))],
    )
    cups_per_tub = models.PositiveSmallIntegerField("cups a rested tub gives", default=1)
    cup_rest_days = models.PositiveSmallIntegerField("days a tub rests after a cup", default=28)

    # The one lock, on both databases: lock_lines() adds 1 here before anything is read.
    turn = models.PositiveBigIntegerField(default=0, editable=False)

    class Meta:
        ordering = ["species__scientific_name", "form_name", "locality", "id"]
        constraints = [
            models.UniqueConstraint(fields=["species", "form_name", "locality"], name="line_named_once"),
        ]

    def __str__(self) -> str:
        form = f" ‘{self.form_name}’" if self.form_name else ""
        place = f", {self.locality}" if self.locality else ""
        return f"{self.species}{form}{place}"

    @property
    def is_open(self) -> bool:
        return self.status != self.Status.CLOSED
