"""The tubs of a round as a phone carries them, so that it can be walked where nothing answers."""

from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from breeder.base.formatting import ago
from breeder.cultures import count_entry
from breeder.cultures.line_stock import LineStock
from breeder.cultures.models import Belief, Culture
from breeder.cultures.queries.next_counts import Plan, plan_of_week
from breeder.cultures.queries.rounds import round_of
from breeder.cultures.queries.stock import read_lines, stock_of_lines
from breeder.species.models import Line


@dataclass(frozen=True)
class Carried:
    """One tub of the round, with what the book says of each stage in words."""

    tub: Culture
    done: bool
    said: dict[str, str]

    @property
    def by_head(self) -> bool:
        """Return whether its animals are counted; a culture sold by the cup is only looked at."""
        return self.tub.line.sold_by == Line.SoldBy.HEAD


def carried_on(day: date) -> list[Carried]:
    """Return the round of a day with all that its screens show; the number of queries does not grow with the tubs."""
    every = read_lines(Line.objects.order_by().values_list("pk", flat=True))
    # A closed line sells nothing, so nothing is worked out for it; its tubs are walked until they are closed too.
    lines = [line for line in every if line.rows.line.is_open]
    rows = [line.rows for line in every]
    tubs = {tub.pk: tub for of_line in rows for tub in of_line.tubs}
    beliefs = {key: belief for of_line in rows for key, belief in of_line.beliefs.items()}
    stocks, plan = stock_of_lines(lines, timezone.localdate()), plan_of_week(day, lines=lines)
    stops = [stop for stop in round_of(day).stops if stop.culture_id in tubs]
    return [Carried(tub := tubs[stop.culture_id], stop.done, _said(tub, beliefs, stocks, plan, day)) for stop in stops]


def _said(
    tub: Culture, beliefs: dict[tuple[int, str], Belief], stocks: dict[int, LineStock], plan: Plan, day: date
) -> dict[str, str]:
    if tub.line.sold_by == Line.SoldBy.CUP:
        return {"cups": "Kept by the cup: a look is enough."}
    told = {}
    for stage in ("young", "adults"):
        belief, stock = beliefs.get((tub.pk, stage)), stocks.get(tub.line_id)
        here = stock.stages[stage].tub(tub.pk) if stock and stage in stock.stages else None
        told[stage] = (
            f"{_words(belief, here.lower if here else None, stage, day)} {plan.words_of(tub.pk, stage)}".strip()
        )
    return told


def _words(belief: Belief | None, lower: int | None, stage: str, day: date) -> str:
    if belief is None or belief.counted_at is None:
        return f"No {stage} were counted here yet."
    how = count_entry.NAMES.get(belief.method, belief.method)
    last = f"Last: {how}, {ago(timezone.localdate(belief.counted_at), day)}."
    return last if lower is None else f"{last} The book relies on {lower}."
