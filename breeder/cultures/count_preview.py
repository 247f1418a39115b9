"""What a count would do, shown before it is saved: its estimate and bound, and what the book would rely on."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone

from breeder.core.counting.methods.count import working_text
from breeder.core.counting.quantiles import whole_below
from breeder.cultures import belief_store, count_entry, entry_text, eye_bias, tub_ledger
from breeder.cultures.actions import line_lock
from breeder.cultures.models import Culture, Entry

NOT_SAVED = -1  # the row number that the entry of a preview bears


@dataclass(frozen=True)
class Preview:
    """A count that is not saved yet."""

    said: str
    estimate: float
    lower: int
    stage: str
    sentence: str
    steps: tuple[str, ...]


def preview(
    tub: Culture, stage: str, method: str, given: Mapping[str, Any], happened_at: datetime | None = None, by: Any = None
) -> Preview:
    """Return what a count by this person would say and do. Raises BadFact."""
    given = eye_bias.with_own_error(given, method, by)
    count = count_entry.newly_counted(method, given)
    at = line_lock.check_time(tub, happened_at)
    entry = Entry(
        pk=NOT_SAVED,
        culture=tub,
        kind=Entry.Kind.COUNT,
        stage=stage,
        method=method,
        given=dict(given),
        estimate=count.estimate,
        lower=count.lower,
        log_sd=count.log_sd,
        shared_sd=count.shared_sd,
        happened_at=at,
        recorded_at=at,
    )
    ageing, on = tub_ledger.ageing_of(tub.line), timezone.localdate(max(at, timezone.now()))
    before = belief_store.load({tub.pk})[0].held(tub.pk, stage)
    after = belief_store.load({tub.pk}, and_also=[entry])[0].held(tub.pk, stage)
    sentence = entry_text.preview_of(before, after, entry, on, float(tub.line.confidence), ageing)
    return Preview(
        said=count_entry.said(method, given),
        estimate=count.estimate or 0.0,
        lower=whole_below(count.lower or 0.0),
        stage=stage,
        sentence=sentence,
        steps=working_text(count),
    )
