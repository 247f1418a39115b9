"""Tubs, the append-only ledger, what the book believes of each tub, and animals set aside."""

from math import exp
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from breeder.base.models import Photo
from breeder.species.models import Line

KEEPER = settings.AUTH_USER_MODEL
# How a keeper walks along the tubs. Named by queries that group, too: Django forgets a model's own order for those.
SHELF_ORDER = ("shelf", "place_on_shelf", "number")


class Stage(models.TextChoices):
    """What is counted and sold: adults, young (juveniles and sub-adults), or cups of a culture."""

    ADULTS = "adults"
    YOUNG = "young"
    CUPS = "cups"


class Culture(models.Model):
    """A tub. Its number is plain, carries no meaning and is never used again."""

    class Purpose(models.TextChoices):
        BREEDING = "breeding"
        GROWING = "growing"
        QUARANTINE = "quarantine"
        ISOLATION = "isolation"
        MIXED = "mixed"
        SHOW = "show"

    number = models.PositiveIntegerField(unique=True)
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="cultures")
    shelf = models.CharField(max_length=12)
    place_on_shelf = models.PositiveSmallIntegerField("place in round order", default=1)
    litres = models.DecimalField("size, litres", max_digits=5, decimal_places=1, null=True, blank=True)
    purpose = models.CharField(max_length=12, choices=Purpose, default=Purpose.BREEDING)
    quarantine_until = models.DateField(null=True, blank=True)
    not_for_sale = models.CharField("not for sale, because", max_length=160, blank=True)
    started_on = models.DateField()
    crashed_on = models.DateField(null=True, blank=True)
    closed_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=240, blank=True)

    class Meta:
        ordering = [*SHELF_ORDER]

    def __str__(self) -> str:
        return f"tub {self.number}"


class Ancestry(models.Model):
    """Which tub a tub was filled from."""

    class Kind(models.TextChoices):
        SPLIT = "split"
        MERGE = "merge"
        FOUNDED = "founded"

    child = models.ForeignKey(Culture, on_delete=models.PROTECT, related_name="parents")
    parent = models.ForeignKey(Culture, on_delete=models.PROTECT, related_name="children")
    kind = models.CharField(max_length=8, choices=Kind)
    on = models.DateField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["child", "parent", "on"], name="ancestry_once_a_day"),
            models.CheckConstraint(condition=~Q(child=F("parent")), name="ancestry_not_of_itself"),
        ]

    def __str__(self) -> str:
        return f"{self.child} from {self.parent}"


class Promise(models.Model):
    """Animals set aside from a line, by animals or cups: wanted + overcount, less what was already packed."""

    class State(models.TextChoices):
        HELD = "held"
        PACKED = "packed"
        RELEASED = "released"

    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="promises")
    culture = models.ForeignKey(Culture, null=True, blank=True, on_delete=models.PROTECT, related_name="promises")
    stage = models.CharField(max_length=6, choices=Stage)
    number = models.PositiveIntegerField("animals held, overcount included")
    males = models.PositiveIntegerField(default=0)
    females = models.PositiveIntegerField(default=0)
    state = models.CharField(max_length=8, choices=State, default=State.HELD)
    made_at = models.DateTimeField()
    paid_at = models.DateTimeField(null=True, blank=True)
    expires_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = [F("paid_at").asc(nulls_last=True), "made_at", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(number__gt=0) | ~Q(state="held"), name="held_promise_of_at_least_one"),
            models.CheckConstraint(condition=Q(number__gte=F("males") + F("females")), name="promise_sexes_within"),
        ]
        indexes = [models.Index(fields=["line", "stage"], condition=Q(state="held"), name="promise_held")]

    def __str__(self) -> str:
        return f"{self.number} {self.stage} of {self.line}"


class Entry(models.Model):
    """One fact about a tub. Never changed or removed (the database refuses); a mistake gets a correcting entry."""

    class Kind(models.TextChoices):
        COUNT = "count"
        CHANGE = "change"
        ABOUT = "about"
        LOOKED = "looked"
        CARE = "care"
        STATE = "state"
        CORRECT = "correct"

    class Reason(models.TextChoices):
        PACKED = "packed"
        RECEIVED = "received"
        MOVED = "moved"
        CULLED = "culled"
        DIED = "died"
        RETURNED = "returned"

    culture = models.ForeignKey(Culture, on_delete=models.PROTECT, related_name="entries")
    kind = models.CharField(max_length=8, choices=Kind)
    stage = models.CharField(max_length=6, choices=Stage, blank=True)
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(KEEPER, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    photo = models.ForeignKey(Photo, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=400, blank=True)

    # change, about: whole animals, signed. males and females are part of them, with the same sign.
    number = models.IntegerField(null=True, blank=True)
    reason = models.CharField(max_length=8, choices=Reason, blank=True)
    males = models.IntegerField(null=True, blank=True)
    females = models.IntegerField(null=True, blank=True)
    # count, about: the method's own figures (log_sd by its one-sided 95 % bound, shared error included).
    method = models.CharField(max_length=10, blank=True)
    given: Any = models.JSONField("what was typed, or seen, or done", default=dict)
    estimate = models.FloatField(null=True, blank=True)
    lower = models.FloatField(null=True, blank=True)
    log_sd = models.FloatField(null=True, blank=True)
    shared_sd = models.FloatField(null=True, blank=True)
    # correct: the entry that this one puts right.
    corrects = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrections")
    # the two sides of a move, and the promise that a packing filled.
    other_side = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    promise = models.ForeignKey(Promise, null=True, blank=True, on_delete=models.PROTECT, related_name="entries")

    class Meta:
        ordering = ["happened_at", "id"]
        verbose_name_plural = "entries"
        indexes = [
            models.Index(fields=["culture", "stage", "happened_at"], name="entry_replay"),
            models.Index(fields=["kind", "culture", "happened_at"], name="entry_newest"),
        ]
        constraints = [
            models.CheckConstraint(condition=~Q(kind="change") | Q(number__isnull=False), name="change_has_number"),
            models.CheckConstraint(condition=~Q(kind="count") | Q(estimate__gte=0), name="count_has_estimate"),
            models.CheckConstraint(
                condition=~Q(kind="correct") | Q(corrects__isnull=False), name="correction_names_entry"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.culture}"


class OwnError(models.Model):
    """How far off one person is with one way of counting, as learnt on a day; older counts keep theirs."""

    by = models.ForeignKey(KEEPER, on_delete=models.PROTECT, related_name="own_errors")
    method = models.CharField(max_length=10)
    bias = models.FloatField("mean of ln(guess / truth)")
    sd = models.FloatField("shared error on the natural-log scale")
    pairs = models.PositiveIntegerField("guesses followed by a sort")
    learnt = models.BooleanField("learnt, not the default")
    learnt_at = models.DateTimeField()

    class Meta:
        ordering = ["by", "method", "learnt_at", "id"]
        indexes = [models.Index(fields=["by", "method", "learnt_at"], name="own_error_newest")]

    def __str__(self) -> str:
        return f"{self.method} by {self.by}, {self.learnt_at:%Y-%m-%d}"

    @property
    def factor(self) -> float:
        """Return the factor within which a count is right, one standard deviation either way."""
        return exp(self.sd)


class Belief(models.Model):
    """What the ledger says of one tub and stage: X (log-normal, from the counts) + moved. Written by replay only."""

    culture = models.ForeignKey(Culture, on_delete=models.PROTECT, related_name="beliefs")
    stage = models.CharField(max_length=6, choices=Stage)
    middle = models.FloatField("median of X at the last count")
    log_sd = models.FloatField()
    shared_sd = models.FloatField(default=0.0)
    cap = models.FloatField("the last count's own estimate; the bound stays under it", null=True, blank=True)
    moved = models.IntegerField(default=0)
    taken_since = models.PositiveIntegerField("taken for people since the last count", default=0)
    males = models.IntegerField("males known to be there", null=True, blank=True)
    females = models.IntegerField("females known to be there", null=True, blank=True)
    counted_at = models.DateTimeField(null=True, blank=True)
    method = models.CharField(max_length=10, blank=True)
    used: Any = models.JSONField("prior and constants of the last fusing", default=dict)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["culture", "stage"], name="belief_one_per_stage")]

    def __str__(self) -> str:
        return f"{self.stage} of {self.culture}"
