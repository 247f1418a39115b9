"""Pure decisions: whether what somebody wants can be spared, and in which words it is refused."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.core.exceptions import ValidationError

from breeder.base.dates import day_said
from breeder.core.counting.plurals import number_text
from breeder.core.reserve.breeding_minimum import KnownSexes, sexed_sale
from breeder.cultures.line_stock import LineStock, StageStock, TubStock
from breeder.cultures.phrases import animals, named_tubs, none_or


@dataclass(frozen=True)
class Want:
    """Animals (or cups) that somebody would like from a line; `males` and `females` are part of `number`."""

    line_id: int
    stage: str
    number: int
    males: int = 0
    females: int = 0
    culture_id: int | None = None
    label: str = ""


class NotEnoughSurplus(ValidationError):
    """A promise that the stock does not cover; carries every shortage as its own sentence."""

    def __init__(self, sentences: Iterable[str]) -> None:
        self.sentences = tuple(sentences)
        super().__init__([ValidationError(sentence, code="not_enough_surplus") for sentence in self.sentences])


def shortages(wants: Iterable[Want], stocks: Mapping[int, LineStock]) -> list[str]:
    """Return one sentence for every line and stage that cannot cover what is wanted of it, in the order asked.

    Wants of the same line and stage are added up first: two rows of 12 need 24.
    """
    by_stage: dict[tuple[int, str], list[Want]] = defaultdict(list)
    for want in wants:
        by_stage[want.line_id, want.stage].append(want)
    found: list[str] = []
    for (line_id, stage), asked in by_stage.items():
        found += _shortages_of(asked, stocks[line_id], stage)
    return found


def require(wants: Iterable[Want], stocks: Mapping[int, LineStock]) -> None:
    """Raise NotEnoughSurplus with all shortages at once unless everything wanted can be spared."""
    if sentences := shortages(wants, stocks):
        raise NotEnoughSurplus(sentences)


def _shortages_of(asked: list[Want], line: LineStock, stage: str) -> list[str]:
    name = asked[0].label or line.name
    if not line.sellable:
        return [f"Nothing can be promised from {name}: {line.why_not}"]
    stock = line.stages.get(stage)
    if stock is None:
        kept = " and ".join(line.stages) or "nothing"
        return [f"{name} is not sold as {stage}, only as {kept}. Choose another pack or another line."]
    wanted = sum(want.number for want in asked)
    if wanted > stock.free:
        return [_too_few(name, stock)]
    return [*_tub_shortages(name, asked, stock), *_sex_shortages(name, asked, stock)]


def _too_few(name: str, stock: StageStock) -> str:
    if stock.stage == "cups":
        return _too_few_cups(name, stock)
    said = (
        f"{_spared(stock.free, stock.stage)} from {name}: about {number_text(stock.lower, stock.stage)} at least, "
        f"{none_or(stock.kept_back)} kept back, {none_or(stock.promised)} promised."
    )
    if stock.waits_for_count:
        said += f" Until the next count no more than {stock.may_go} may go, promised ones included."
    if stock.soon_grown and not stock.free:
        said += f" {stock.soon_grown}"
    return f"{said} {_remedy(stock)}"


def _too_few_cups(name: str, stock: StageStock) -> str:
    said = (
        f"{_spared(stock.free, 'cups')} from {name}: {none_or(stock.lower)} rested, {none_or(stock.promised)} promised."
    )
    if stock.next_cup_on:
        said += f" The next cup is rested on {day_said(stock.next_cup_on)}."
    return f"{said} {_or_fewer(stock.free)}"


def _spared(free: int, stage: str) -> str:
    return f"Only {free} can be spared" if free else f"No {stage} can be spared"


def _remedy(stock: StageStock) -> str:
    due = [tub.number for tub in stock.tubs if tub.is_stale or tub.is_outgrown]
    if due and not stock.free:
        return f"Count {named_tubs(due)} first: an old count sells nothing. Or choose another line."
    return _or_fewer(stock.free)


def _or_fewer(free: int) -> str:
    return f"Take {free} or fewer, or choose another line." if free else "Choose another line."


def _tub_shortages(name: str, asked: list[Want], stock: StageStock) -> list[str]:
    by_tub: dict[int, int] = defaultdict(int)
    for want in asked:
        if want.culture_id is not None:
            by_tub[want.culture_id] += want.number
    found = []
    for culture_id, wanted in by_tub.items():
        tub = stock.tub(culture_id)
        if tub is None:
            found.append(
                f"The tub chosen for {name} gives no {stock.stage} for sale. Choose another tub, or leave it open."
            )
        elif wanted > tub.free:
            found.append(_too_few_in_tub(name, tub, stock.stage))
    return found


def _too_few_in_tub(name: str, tub: TubStock, stage: str) -> str:
    said = (
        f"{_spared(tub.free, stage)} from tub {tub.number} of {name}: about {number_text(tub.lower, stage)} at least, "
        "less what stays there and what is promised."
    )
    take = f"Take {tub.free} or fewer, or leave the tub open." if tub.free else "Leave the tub open, or choose another."
    return f"{said} {take}"


def _sex_shortages(name: str, asked: list[Want], stock: StageStock) -> list[str]:
    wanted = KnownSexes(sum(want.males for want in asked), sum(want.females for want in asked))
    if not wanted.males and not wanted.females:
        return []
    if stock.males is None or stock.females is None:
        return [
            f"The sexes of {name} were never counted, so none can be promised by sex. "
            "Count a tub as males.females.unsexed first."
        ]
    sale = sexed_sale(
        KnownSexes(stock.males, stock.females),
        wanted,
        promised=KnownSexes(stock.promised_males, stock.promised_females),
        each_sex=stock.each_sex_kept,
        size_kept=stock.size_kept,
        unsexed=_unsexed(stock, asked),
        share_female=stock.share_female,
        reproduction=stock.reproduction,
        shown_by=stock.shown_by,
    )
    return [f"{name}: {said}" for said in sale.why]


def _unsexed(stock: StageStock, asked: list[Want]) -> int:
    """Return how many adults of unknown sex would surely be left beside those known by sex."""
    sexed = (stock.males or 0) + (stock.females or 0)
    promised = stock.promised - stock.promised_males - stock.promised_females
    wanted = sum(want.number - want.males - want.females for want in asked)
    return max(0, stock.lower - sexed - promised - wanted)


def broken_by(before: LineStock, after: LineStock) -> list[str]:
    """Return what a fact broke of a line, as sentences: only what is worse than it was before."""
    found: list[str] = []
    for stage, now in after.stages.items():
        was = before.stages.get(stage)
        if now.short and (was is None or now.short > was.short):
            found.append(_short(after.name, now))
        if now.lower < now.kept_back and was is not None and now.lower < was.lower:
            found.append(_below(after.name, now))
        if stage == "adults" and was is not None and now.lower <= now.kept_back < was.lower:
            found += _to_freeze(after)
    return found


def _to_freeze(line: LineStock) -> list[str]:
    if not line.irreplaceable or line.frozen_because:
        return []
    return [f"{line.name} cannot be bought again and is down to its minimum. Freeze it on its page."]


def _short(name: str, stock: StageStock) -> str:
    return (
        f"{name} is short by {animals(stock.short, stock.stage)}: {stock.promised} promised, "
        f"{stock.lower} there at least, {none_or(stock.kept_back)} kept back. It takes no new promise; "
        "its page shows who would wait."
    )


def _below(name: str, stock: StageStock) -> str:
    return (
        f"{name} is below its minimum: {animals(stock.lower, stock.stage)} at least, {stock.kept_back} must stay. "
        "Nothing more is sold of it until a count shows more."
    )


def relied_on(line: LineStock, culture_id: int) -> str:
    """Return what the book relies on in one tub, such as '12 adults and 40 young'; empty for nothing."""
    found = []
    for stage, stock in line.stages.items():
        tub = stock.tub(culture_id)
        if tub is not None and tub.lower:
            found.append(animals(tub.lower, stage))
    return " and ".join(found)
