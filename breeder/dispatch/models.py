"""The weather check of a parcel, stored whole."""

from typing import Any

from django.conf import settings
from django.db import models

from breeder.heat import verdict
from breeder.packing.models import Parcel


class Check(models.Model):
    """One answer to "may this parcel leave on this day in this kit?", with all that it rested on."""

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
