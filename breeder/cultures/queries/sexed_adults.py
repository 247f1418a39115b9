"""What was found when the adults of a line were sexed."""

from django.db.models import Q

from breeder.core.reserve.sex_ratio import SexedSample
from breeder.cultures.models import Culture, Entry, Stage
from breeder.cultures.tub_ledger import order_of, void_ids


def sexed_of(line_id: int) -> SexedSample:
    """Return the males and females of the last sexed count of every open tub of a line, mixed tubs left out."""
    of_line = Entry.objects.filter(culture__line_id=line_id, culture__closed_on=None)
    of_line = of_line.exclude(culture__purpose=Culture.Purpose.MIXED)
    by_sex = Q(stage=Stage.ADULTS, males__isnull=False, kind__in=(Entry.Kind.COUNT, Entry.Kind.CHANGE))
    rows = list(of_line.filter(by_sex | Q(kind=Entry.Kind.CORRECT)))
    void = void_ids(row for row in rows if row.kind == Entry.Kind.CORRECT)
    counts: dict[int, tuple[Entry, bool]] = {}
    picked: set[int] = set()  # tubs that gave away more of one sex than of the other
    for row in sorted((row for row in rows if row.pk not in void), key=order_of):
        if row.kind == Entry.Kind.COUNT and row.females is not None:
            counts[row.culture_id] = row, row.culture_id in picked
        elif row.kind == Entry.Kind.CHANGE and (row.number or 0) < 0 and row.males != row.females:
            picked.add(row.culture_id)
    return SexedSample(
        males=sum(row.males or 0 for row, _ in counts.values()),
        females=sum(row.females or 0 for row, _ in counts.values()),
        taken_by_sex=any(was_picked for _, was_picked in counts.values()),
    )
