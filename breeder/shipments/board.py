"""Build the board: every waiting box on its next shipping days in every kit, and a plan for all. Reads only."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime

from breeder.base.models import Setting
from breeder.core.thermal.kit import BadKit
from breeder.core.thermal.verdict import NO_GO
from breeder.core.transit import box_trials, fallback_kits, schedule
from breeder.core.transit.result_cache import ResultCache
from breeder.core.transit.results import BoxQuestion, Cell
from breeder.core.transit.schedule import Aim, Shelf, ShippingPlan, UnplannedBox
from breeder.core.transit.trial_result import Candidate
from breeder.shipments import legal_block, run_check
from breeder.shipments.background import BoardWorker
from breeder.shipments.check_inputs import cups_in, species_in
from breeder.shipments.forecast_cache import BoardForecasts, NotReadYet
from breeder.shipments.models import Kit, Parcel
from breeder.shipments.queries import parcels as parcel_queries
from breeder.shipments.rules import departure_rules
from breeder.shipments.rules.box_rules import DRY_ICE_WORDS
from breeder.shipments.thermal_kit import heat_kit

# Boxes of three cups count as boxes of two: fewer cups swing more, so the board errs on the safe side.
CUP_CLASSES = (8, 4, 2, 1)
CONFIRMING_ROUNDS = 3
BOARD_WORKER = BoardWorker(ResultCache())


@dataclass(frozen=True)
class BoardRow:
    """One box on the board: its days, or why it has none; `is_open`: some days are not computed yet."""

    parcel: Parcel
    cells: tuple[Cell, ...]
    why_not: str = ""
    blocks: tuple[str, ...] = ()
    is_open: bool = False


@dataclass(frozen=True)
class Board:
    """All waiting boxes, the shelf, and the packed boxes."""

    rows: tuple[BoardRow, ...]
    shelf: Shelf
    packed: tuple[Parcel, ...]
    asked: dict[tuple[int, date], BoxQuestion]
    kits: dict[int, Kit]
    not_made: tuple[str, ...] = ()  # kits in use that the shelf cannot supply even once, with what it lacks

    @property
    def open_rows(self) -> int:
        """Return how many boxes are not computed yet."""
        return sum(row.is_open for row in self.rows)


def build_board(household: Setting, now: datetime, until: float | None = None) -> Board:
    """Return every waiting box with the result of each of its next shipping days, the worst over all sources.

    Cells not computed by `until` (of time.monotonic; None: wait for all) continue in the background.
    """
    here = list(parcel_queries.parcels_here())
    waiting = [parcel for parcel in here if parcel.status == Parcel.Status.WAITING]
    in_use = [kit for kit in parcel_queries.kits(active=True) if not _has_dry_ice(kit)]
    short = parcel_queries.short_supplies(kit.pk for kit in in_use)
    kits = [kit for kit in in_use if not short[kit.pk]]
    not_made = tuple(f"{kit} ({'; '.join(short[kit.pk])})" for kit in in_use if short[kit.pk])
    skies = BoardForecasts(household, now, [parcel.order.address for parcel in waiting if parcel.order.address], until)
    asking = _BoardQuestions(household, kits, skies)
    for parcel in waiting:
        asking.ask(parcel)
    cells: dict[int, list[Cell | None]] = {}
    known = BOARD_WORKER.cells(list(asking.asked.values()), box_trials.SCREENED, until)
    for (number, _), cell in zip(asking.asked, known, strict=True):
        cells.setdefault(number, []).append(cell)
    rows = tuple(asking.row(parcel, cells.get(parcel.number, [])) for parcel in waiting)
    packed = tuple(parcel for parcel in here if parcel.status == Parcel.Status.PACKED)
    return Board(rows, _shelf(), packed, asking.asked, {kit.pk: kit for kit in kits}, not_made)


class _BoardQuestions:
    """The questions of all boxes, and the reasons why some have none."""

    def __init__(self, household: Setting, kits: list[Kit], skies: BoardForecasts) -> None:
        self.household, self.skies, self.tried, self.rulebook = (
            household,
            skies,
            _Candidates(kits),
            legal_block.current_rules(),
        )
        self.asked: dict[tuple[int, date], BoxQuestion] = {}
        self.why_not: dict[int, str] = {}
        self.blocks: dict[int, tuple[str, ...]] = {}
        self.unread: set[int] = set()

    def ask(self, parcel: Parcel) -> None:
        """Add the questions of a box, except for days on which the rules block it."""
        try:
            questions = _asked(parcel, self.tried, self.skies, self.household)
        except departure_rules.DepartureRefused as refusal:
            self.why_not[parcel.number] = " ".join(refusal.messages)
            return
        except NotReadYet:
            self.unread.add(parcel.number)
            return
        shut = legal_block.blocked_days(self.rulebook, parcel, [question.journey.post_on for question in questions])
        open_days = [question for question in questions if question.journey.post_on not in shut]
        self.asked |= {(parcel.number, question.journey.post_on): question for question in open_days}
        if shut and not open_days:
            self.blocks[parcel.number] = next(iter(shut.values()))

    def row(self, parcel: Parcel, cells: list[Cell | None]) -> BoardRow:
        """Return a box with the days that are known."""
        number = parcel.number
        known = tuple(cell for cell in cells if cell)
        is_open = number in self.unread or len(known) < len(cells)
        return BoardRow(parcel, known, self.why_not.get(number, ""), self.blocks.get(number, ()), is_open)


def plan(board: Board, aim: Aim, boxes_a_day: int, until: float | None = None) -> ShippingPlan | None:
    """Return a day and a kit for every box, confirmed with all members of each box's own draws.

    None if that is not computed by `until`, as in `build_board`.
    """
    if board.open_rows:
        return None
    boxes = [
        UnplannedBox(row.parcel.number, row.parcel.order.promised_by, row.cells) for row in board.rows if row.cells
    ]
    packed = [(parcel.kit_id, parcel.post_on) for parcel in board.packed]
    for _ in range(CONFIRMING_ROUNDS):
        spread = schedule.plan_boxes(boxes, board.shelf, aim, boxes_a_day=boxes_a_day, packed=packed)
        if wider := fallback_kits.fallback_questions(boxes, spread, board.asked, board.shelf):
            known = BOARD_WORKER.cells(wider, box_trials.SCREENED, until)
            cells = [cell for cell in known if cell is not None]
            if len(cells) < len(known):
                return None
            boxes = fallback_kits.with_fallback_kits(boxes, cells)
            spread = schedule.plan_boxes(boxes, board.shelf, aim, boxes_a_day=boxes_a_day, packed=packed)
        failed = _unconfirmed(board, spread, until)
        if not failed:
            return None if failed is None else spread
        boxes = [_without(box, failed) for box in boxes]
    return schedule.plan_boxes(boxes, board.shelf, aim, boxes_a_day=boxes_a_day, packed=packed)


def _unconfirmed(board: Board, spread: ShippingPlan, until: float | None) -> set[tuple[int, date, int]] | None:
    """Return (box, day, kit) of each choice that fails with all members and the exact number of cups."""
    services = {row.parcel.number: row.parcel for row in board.rows}
    asked = []
    for given in spread.given:
        parcel, kit = services[given.number], given.option.candidate
        question = board.asked[(given.number, given.on)]
        seed = departure_rules.draw_seed(parcel.number, parcel.service_id, given.on)
        exact = replace(kit, kit=heat_kit(board.kits[kit.kit_id], cups_in(parcel)))
        asked.append(replace(question, candidates=(exact,), seed=seed))
    failed = set()
    for cell in BOARD_WORKER.cells(asked, run_check.MEMBERS, until):
        if cell is None:
            return None
        if not cell.going:
            failed.add((cell.number, cell.on, cell.options[0].candidate.kit_id))
    return failed


def _without(box: UnplannedBox, failed: set[tuple[int, date, int]]) -> UnplannedBox:
    """Return a box with the failed kits marked No-go on their day."""
    cells = tuple(
        replace(
            cell,
            options=tuple(
                replace(option, decided=NO_GO) if (box.number, cell.on, option.candidate.kit_id) in failed else option
                for option in cell.options
            ),
        )
        for cell in box.cells
    )
    return replace(box, cells=cells)


class _Candidates:
    """The kits to try by number of cups, each read once."""

    def __init__(self, kits: list[Kit]) -> None:
        self.kits = kits
        self.by_cups: dict[int, tuple[Candidate, ...]] = {}

    def of(self, cups: int) -> tuple[Candidate, ...]:
        """Return the kits that hold this many cups."""
        size = next(size for size in CUP_CLASSES if size <= cups)
        if size not in self.by_cups:
            self.by_cups[size] = tuple(self._fitting(size))
        return self.by_cups[size]

    def _fitting(self, cups: int) -> Iterable[Candidate]:
        for kit in self.kits:
            try:
                yield Candidate(kit.pk, kit.name, float(kit.cost), heat_kit(kit, cups))
            except BadKit:
                continue  # too small for so many cups


def _asked(parcel: Parcel, tried: _Candidates, skies: BoardForecasts, household: Setting) -> list[BoxQuestion]:
    """Return the questions of one box, one per day. Raises DepartureRefused if it cannot be planned yet."""
    lacks = []
    if ended := departure_rules.order_ended(parcel.order, skies.now):
        raise departure_rules.DepartureRefused(ended, code="order_ended")
    if parcel.service is None:
        lacks.append("it has no service")
    if parcel.order.address is None or parcel.order.address.latitude is None:
        lacks.append("the place of its address is not known")
    if household.latitude is None or household.longitude is None:
        lacks.append("your own place is not known")
    if not tried.kits:
        lacks.append("no kit is written down that the shelf can make up")
    if lacks:
        raise departure_rules.DepartureRefused(
            f"Box {parcel.number} has no days yet: {'; '.join(lacks)}.", code="not_ready"
        )
    animals = run_check.box_animals(species_in(parcel), household)
    candidates = tried.of(cups_in(parcel))
    if not candidates:
        raise departure_rules.DepartureRefused(
            f"Box {parcel.number} fits in no kit. Write down a larger one.", code="no_kit"
        )
    return [
        BoxQuestion(
            parcel.number,
            journey,
            skies.readings(parcel.order.address, journey),
            candidates,
            animals,
            departure_rules.draw_seed(0, parcel.service_id, journey.post_on),
        )
        for journey in skies.journeys(parcel)
    ]


def _has_dry_ice(kit: Kit) -> bool:
    text = " ".join([kit.name, kit.note, *(part.supply.name for part in kit.parts.all())]).lower()
    return any(word in text for word in DRY_ICE_WORDS)


def _shelf() -> Shelf:
    supplies = list(parcel_queries.supplies())
    return Shelf(
        {supply.pk: supply.on_shelf for supply in supplies},
        {kit.pk: {part.supply_id: part.number for part in kit.parts.all()} for kit in parcel_queries.kits()},
        {supply.pk: supply.name for supply in supplies},
    )
