"""Beliefs worked out by an older arithmetic are worked out anew, and the keeper is told once what that changed."""

from dataclasses import dataclass
from typing import Any

from django.db import connections, transaction
from django.db.migrations.loader import MigrationLoader
from django.db.models import QuerySet
from django.utils import timezone

from breeder.core.counting.quantiles import whole_below
from breeder.core.stock.belief import aged, lower
from breeder.core.stock.events import Ageing
from breeder.cultures import belief_store
from breeder.cultures.line_surplus import stored_belief
from breeder.cultures.models import Belief, Stage
from breeder.cultures.tub_ledger import ageing_of
from breeder.species.steps import lock_lines

WHY = (
    "Old counts are worked out by today’s methods: portions and shelter counts allow for luck, animals that were in "
    "the hand are sure, young that were counted grow up, and what was taken since a count stays with tubs that are "
    "tipped apart or together."
)


@dataclass(frozen=True)
class Change:
    """What the book said of one tub and stage before and what it says now, in whole animals."""

    tub: int
    stage: str
    sure_before: int
    sure: int
    likely_before: int
    likely: int


def renew() -> int:
    """Work out anew every belief of an older arithmetic, keeping what it said before; return how many there were."""
    with transaction.atomic():
        lock_lines(_outdated().values_list("culture__line_id", flat=True))
        rows = list(_outdated().select_related("culture__line__species"))
        if not rows:
            return 0
        for row in rows:
            before = Ageing(**row.used["ageing"])
            row.used |= {belief_store.BEFORE: dict(zip(("sure", "likely"), _sure_and_likely(row, before), strict=True))}
            row.save(update_fields=["used"])
        belief_store.bring_up_to_date({row.culture_id for row in rows})
        for row in _with_news():
            if not _is_news(_change(row)):
                _forget(row)
    return len(rows)


def tell_once() -> list[Change]:
    """Return what changed by working beliefs out anew, by tub; asked again, nothing more is told."""
    with transaction.atomic():
        lock_lines(_with_news().values_list("culture__line_id", flat=True))
        rows = list(_with_news())
        changes = [_change(row) for row in rows]
        for row in rows:
            _forget(row)
    return changes


def renew_after_migrating(using: str = "default", **_: Any) -> None:
    """Work beliefs out anew when the tables are those of this version; a step back leaves them alone."""
    table, connection = Belief._meta.db_table, connections[using]
    if table in connection.introspection.table_names() and _outdated().exists():
        loader = MigrationLoader(connection)
        if all(node in loader.applied_migrations for node in loader.graph.leaf_nodes(Belief._meta.app_label)):
            renew()


def _outdated() -> QuerySet[Belief]:
    present = Belief.objects.filter(used__arithmetic=belief_store.ARITHMETIC)
    return Belief.objects.exclude(stage=Stage.CUPS).exclude(pk__in=present.values("pk"))


def _with_news() -> QuerySet[Belief]:
    told = Belief.objects.filter(used__has_key=belief_store.BEFORE).select_related("culture__line__species")
    return told.order_by("culture__number", "stage")


def _forget(row: Belief) -> None:
    del row.used[belief_store.BEFORE]
    row.save(update_fields=["used"])


def _change(row: Belief) -> Change:
    before = row.used[belief_store.BEFORE]
    sure, likely = _sure_and_likely(row, ageing_of(row.culture.line))
    return Change(row.culture.number, row.stage, before["sure"], sure, before["likely"], likely)


def _is_news(change: Change) -> bool:
    return (change.sure_before, change.likely_before) != (change.sure, change.likely)


def _sure_and_likely(row: Belief, ageing: Ageing) -> tuple[int, int]:
    """Return what a row says today, sure and likely."""
    on, belief = timezone.localdate(), stored_belief(row)
    at_least = lower(belief, on, float(row.culture.line.confidence), ageing, row.stage)
    return at_least, whole_below(aged(belief, on, ageing, row.stage).expected)
