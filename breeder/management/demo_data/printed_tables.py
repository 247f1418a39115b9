"""Print the tables of `demo --once`: the for-sale list and the parcels."""

from collections.abc import Sequence

from breeder.base.formatting import odds
from breeder.cultures.queries.stock import stock_by_line
from breeder.shipments.models import Check, Parcel
from breeder.species.models import Line


def plain_table(title: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return a table whose columns line up in any fixed-width window."""
    widths = [max(len(row[column]) for row in [heads, *rows]) for column in range(len(heads))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in [heads, *rows]
    ]
    return "\n".join([title, lines[0], "  ".join("-" * width for width in widths), *lines[1:]])


def for_sale() -> str:
    """Return what every line can spare."""
    stocks = stock_by_line()
    rows = []
    for line in Line.objects.filter(pk__in=stocks).select_related("species"):
        for stage in stocks[line.pk].stages.values():
            free = f"short by {stage.short}" if stage.short else str(stage.free)
            counted = stage.counted_on.isoformat() if stage.counted_on else "never"
            rows.append(
                (str(line), stage.stage, str(stage.lower), str(stage.stays), str(stage.promised), free, counted)
            )
    heads = ("line", "stage", "at least", "stays", "promised", "free", "counted")
    return plain_table("What can be sold", heads, rows)


def parcels() -> str:
    """Return the waiting boxes with verdict, kit and odds."""
    rows = []
    for parcel in Parcel.objects.filter(status=Parcel.Status.WAITING).select_related("order__address", "kit"):
        check = Check.objects.filter(parcel=parcel).first()
        rows.append(
            (
                f"box {parcel.number}",
                parcel.order.address.town if parcel.order.address else "",
                parcel.post_on.isoformat() if parcel.post_on else "",
                check.get_verdict_display() if check else "not checked",
                *_kit_and_odds(check),
            )
        )
    heads = ("box", "to", "day", "verdict", "kit", "outside comfort", "past a hard limit")
    return plain_table("Parcels", heads, rows)


def _kit_and_odds(check: Check | None) -> tuple[str, str, str]:
    if check is None:
        return "", "", ""
    kit = check.result["kit"]
    return kit["name"], odds(kit["comfort"]["failed"]), odds(kit["hard"]["failed"])
