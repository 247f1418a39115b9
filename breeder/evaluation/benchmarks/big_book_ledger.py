"""The ledger of the big book: looks, counts, meals and deaths of two years, and what was packed for orders sent."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from random import Random
from typing import Any

from django.contrib.auth.models import User

from breeder.cultures.count_entry import counted
from breeder.cultures.models import Culture, Entry, Stage
from breeder.shipments.models import ParcelItem
from breeder.species.models import Line

DAYS = 730
GUESSES = (("eye", {"from": 50, "to": 100}), ("piece", {"seen": 24, "factor": 3.0}))
SORT_EVERY = 12  # every twelfth count of a tub is a full sort, three weeks after a guess


class LedgerMaker:
    """Makes the entries of all tubs, by two people in turn as the dice fall."""

    def __init__(self, now: datetime, dice: Random, people: Sequence[User]) -> None:
        self.now, self.dice, self.people = now, dice, people

    def write(self, tubs: Sequence[Culture], items: Sequence[ParcelItem], number: int) -> None:
        """Write so many entries: what was packed of these items, one corrected look a tub, and the rest by turns."""
        packed = [
            self._entry(
                item.culture, Entry.Kind.CHANGE, item.parcel.sent_at, stage=item.order_line.offer.stage,
                number=-item.planned, reason=Entry.Reason.PACKED, promise=item.order_line.promise,
            )
            for item in items
            if item.packed
        ]  # fmt: skip
        each, more = divmod(number - len(packed) - len(tubs), len(tubs))
        rows = [*packed, *(row for at, tub in enumerate(tubs) for row in self._of_tub(tub, each + (at < more)))]
        made = Entry.objects.bulk_create(sorted(rows, key=lambda row: row.happened_at), batch_size=2_000)
        looks = [row for row in made if row.kind == Entry.Kind.LOOKED]
        Entry.objects.bulk_create(
            self._entry(row.culture, Entry.Kind.CORRECT, row.happened_at, corrects=row)
            for row in self.dice.sample(looks, len(tubs))
        )

    def _of_tub(self, tub: Culture, number: int) -> Iterator[Entry]:
        """Yield the entries of a tub, even over two years: of twelve, eight looks, a meal, a death, two counts."""
        counts = 0
        for place in range(number):
            at = self.now - timedelta(days=DAYS * (number - place) / (number + 1), minutes=self.dice.randint(0, 600))
            turn = place % 12
            if turn in (3, 9) and tub.line.sold_by == Line.SoldBy.HEAD:
                counts += 1
                yield self._count(tub, at, counts)
            elif turn == 6 and tub.line.sold_by == Line.SoldBy.HEAD:
                yield self._entry(
                    tub, Entry.Kind.CHANGE, at, stage=Stage.YOUNG, number=-1, reason=Entry.Reason.DIED
                )  # fmt: skip
            elif turn == 0:
                yield self._entry(tub, Entry.Kind.CARE, at, given={"did": ["fed"]})
            else:
                yield self._entry(tub, Entry.Kind.LOOKED, at, given={"seen": ["well"]})

    def _count(self, tub: Culture, at: datetime, counts: int) -> Entry:
        stage = Stage.YOUNG if counts // SORT_EVERY % 2 else Stage.ADULTS
        if counts % SORT_EVERY == 0:
            method, given = "full_sort", {"counted": self.dice.randint(60, 160)}
            stage = Stage.YOUNG if (counts - 1) // SORT_EVERY % 2 else Stage.ADULTS
        else:
            method, given = GUESSES[counts % len(GUESSES)]
        count = counted(method, given)
        return self._entry(
            tub, Entry.Kind.COUNT, at, stage=stage, method=method, given=given, estimate=count.estimate,
            lower=count.lower, log_sd=count.log_sd, shared_sd=count.shared_sd,
        )  # fmt: skip

    def _entry(self, tub: Culture | None, kind: Entry.Kind, at: datetime | None, **fields: Any) -> Entry:
        by = self.dice.choice(self.people)
        return Entry(culture=tub, kind=kind, happened_at=at, recorded_at=at, by=by, **fields)
