"""The board: every box that waits on its next posting days in every kit, and a plan for all. Reads only."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import lru_cache

from django.utils import timezone

from breeder.carriers.queries import closures_of
from breeder.carriers.rules import posting_days
from breeder.dispatch import air, gathering, legal, planning, rivals, rules, spreading
from breeder.dispatch.air import Air
from breeder.dispatch.ambient import ONE_DAY
from breeder.dispatch.inputs import cups_in, species_in
from breeder.dispatch.planning import Asked, Cell, Memo
from breeder.dispatch.rivals import Side
from breeder.dispatch.spreading import Aim, Shelf, Spread, Waits
from breeder.dispatch.trying import Candidate, Journey
from breeder.heat.kit import BadKit
from breeder.heat.verdict import NO_GO
from breeder.house.models import Setting
from breeder.packing import queries as packing
from breeder.packing.models import Kit, Parcel
from breeder.packing.reading import heat_kit
from breeder.packing.rules import DRY_ICE_WORDS
from breeder.people.models import Address
from breeder.weather.grid import hours_between
from breeder.weather.models import Place
from breeder.weather.queries import Hours, hours_for, sources_of

DAYS_SHOWN = 10
# Boxes of three cups are reckoned like boxes of two: fewer cups swing more, so the board errs on the safe side.
CUP_CLASSES = (8, 4, 2, 1)
CONFIRMING_ROUNDS = 3
MEMO = Memo()


@dataclass(frozen=True)
class Row:
    """One box on the board: its days, or why it has none."""

    parcel: Parcel
    cells: tuple[Cell, ...]
    why_not: str = ""
    blocks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Board:
    """All boxes that wait, the shelf, and boxes that stand packed."""

    rows: tuple[Row, ...]
    shelf: Shelf
    packed: tuple[Parcel, ...]
    asked: dict[tuple[int, date], Asked]
    kits: dict[int, Kit]


def board_of(household: Setting, now: datetime) -> Board:
    """Return every box that waits with what each of its next posting days says, the worst of all sources."""
    here = list(packing.parcels_here())
    waiting = [parcel for parcel in here if parcel.status == Parcel.Status.WAITING]
    kits = [kit for kit in packing.kits(active=True) if not _has_dry_ice(kit)]
    skies = _Skies(household, now)
    rulebook = legal.book()
    asked: dict[tuple[int, date], Asked] = {}
    why_not, blocks = {}, {}
    for parcel in waiting:
        try:
            own = _asked(parcel, kits, skies, household, now)
        except rules.NotLikeThis as refusal:
            why_not[parcel.number] = " ".join(refusal.messages)
            continue
        shut = legal.blocked_days(rulebook, parcel, [one.journey.post_on for one in own])
        open_days = [one for one in own if one.journey.post_on not in shut]
        asked |= {(parcel.number, one.journey.post_on): one for one in open_days}
        if shut and not open_days:
            blocks[parcel.number] = next(iter(shut.values()))
    cells = dict(zip(asked, planning.cells_of(list(asked.values()), memo=MEMO), strict=True))
    rows = tuple(
        Row(
            parcel,
            tuple(cell for (number, _), cell in cells.items() if number == parcel.number),
            why_not.get(parcel.number, ""),
            blocks.get(parcel.number, ()),
        )
        for parcel in waiting
    )
    packed = tuple(parcel for parcel in here if parcel.status == Parcel.Status.PACKED)
    return Board(rows, _shelf(), packed, asked, {kit.pk: kit for kit in kits})


def plan(board: Board, aim: Aim, boxes_a_day: int) -> Spread:
    """Return a day and a kit for every box; what is given is tried again with all members of the box's own draws."""
    boxes = [Waits(row.parcel.number, row.parcel.order.promised_by, row.cells) for row in board.rows if row.cells]
    packed = [(parcel.kit_id, parcel.post_on) for parcel in board.packed]
    for _ in range(CONFIRMING_ROUNDS):
        found = spreading.spread(boxes, board.shelf, aim, boxes_a_day=boxes_a_day, packed=packed)
        failed = _unconfirmed(board, found)
        if not failed:
            return found
        boxes = [_without(box, failed) for box in boxes]
    return spreading.spread(boxes, board.shelf, aim, boxes_a_day=boxes_a_day, packed=packed)


def _unconfirmed(board: Board, found: Spread) -> set[tuple[int, date, int]]:
    """Return (box, day, kit) of what was given and does not hold with all members and the exact number of cups."""
    services = {row.parcel.number: row.parcel for row in board.rows}
    asked = []
    for given in found.given:
        parcel, kit = services[given.number], given.option.candidate
        one = board.asked[(given.number, given.on)]
        seed = rules.seed_of(parcel.number, parcel.service_id, given.on)
        exact = replace(kit, kit=heat_kit(board.kits[kit.kit_id], cups_in(parcel)))
        asked.append(replace(one, candidates=(exact,), seed=seed))
    cells = planning.cells_of(asked, members=gathering.MEMBERS, memo=MEMO)
    return {(cell.number, cell.on, cell.options[0].candidate.kit_id) for cell in cells if not cell.going}


def _without(box: Waits, failed: set[tuple[int, date, int]]) -> Waits:
    """Return a box without the kits that failed on their day."""
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


def _asked(parcel: Parcel, kits: list[Kit], skies: "_Skies", household: Setting, now: datetime) -> list[Asked]:
    """Return the questions of one box, one a day. Raises NotLikeThis where it cannot be planned yet."""
    lacks = []
    if parcel.service is None:
        lacks.append("it has no service")
    if parcel.order.address is None or parcel.order.address.latitude is None:
        lacks.append("the place of its address is not known")
    if household.latitude is None or household.longitude is None:
        lacks.append("your own place is not known")
    if not kits:
        lacks.append("no kit is written down")
    if lacks:
        raise rules.NotLikeThis(f"Box {parcel.number} has no days yet: {'; '.join(lacks)}.", code="not_ready")
    animals = gathering.animals_of(species_in(parcel), household)
    cups = next(size for size in CUP_CLASSES if size <= cups_in(parcel))
    candidates = tuple(_candidates(kits, cups))
    if not candidates:
        raise rules.NotLikeThis(f"Box {parcel.number} fits in no kit. Write down a larger one.", code="no_kit")
    return [
        Asked(
            parcel.number,
            journey,
            skies.readings(parcel.order.address, journey),
            candidates,
            animals,
            rules.seed_of(0, parcel.service_id, journey.post_on),
        )
        for journey in skies.journeys(parcel)
    ]


def _candidates(kits: Iterable[Kit], cups: int) -> Iterable[Candidate]:
    for kit in kits:
        try:
            yield Candidate(kit.pk, kit.name, float(kit.cost), heat_kit(kit, cups))
        except BadKit:
            continue  # too small for so many cups


def _has_dry_ice(kit: Kit) -> bool:
    said = " ".join([kit.name, kit.note, *(part.supply.name for part in kit.parts.all())]).lower()
    return any(word in said for word in DRY_ICE_WORDS)


def _shelf() -> Shelf:
    supplies = list(packing.supplies())
    return Shelf(
        {supply.pk: supply.on_shelf for supply in supplies},
        {kit.pk: {part.supply_id: part.number for part in kit.parts.all()} for kit in packing.kits()},
        {supply.pk: supply.name for supply in supplies},
    )


class _Skies:
    """The air of every place over the horizon, read and turned to arrays once."""

    def __init__(self, household: Setting, now: datetime) -> None:
        self.now, self.today = now, timezone.localdate(now)
        self.home = household
        self.span = (now - 2 * ONE_DAY, now + timedelta(days=packing.HORIZON_DAYS) + gathering.LONGEST_JOURNEY)
        self.by_place: dict[tuple[object, object], tuple[Hours, list[Hours]]] = {}
        self.by_service: dict[tuple[int, str], list[Journey]] = {}

    def journeys(self, parcel: Parcel) -> list[Journey]:
        """Return a box's journeys on its next posting days; boxes of one service and way share them."""
        key = (parcel.service_id, parcel.way)
        if key not in self.by_service:
            closures = closures_of(parcel.service.carrier)
            timing = gathering.timing_of(parcel.service)
            days = [day.on for day in posting_days(timing, closures, self.today, packing.HORIZON_DAYS) if day.usable]
            to_counter = parcel.way == Parcel.Way.COUNTER
            self.by_service[key] = [
                gathering.journey_of(parcel, parcel.service, day, to_counter=to_counter) for day in days[:DAYS_SHOWN]
            ]
        return self.by_service[key]

    def readings(self, address: Address, journey: Journey) -> tuple[tuple[Air, Air], ...]:
        """Return every reading of both ends on a journey, the freshest first."""
        origin = self._side(self.home.latitude, self.home.longitude, self.home.timezone, "Home", journey)
        destination = self._side(address.latitude, address.longitude, address.timezone, str(address), journey)
        return tuple((_air(ends.origin), _air(ends.destination)) for ends in rivals.readings(origin, destination))

    def _side(self, latitude: object, longitude: object, zone: str, label: str, journey: Journey) -> Side:
        key = (latitude, longitude)
        if key not in self.by_place:
            self.by_place[key] = self._read(latitude, longitude, zone, label)
        freshest, by_source = self.by_place[key]
        if not by_source:
            return Side(freshest)
        last = journey.deliveries[-1].on + ONE_DAY
        wanted = {at for at in freshest.times if journey.post_on <= at.astimezone(freshest.zone).date() <= last}
        return rivals.side_of(freshest, by_source, wanted)

    def _read(self, latitude: object, longitude: object, zone: str, label: str) -> tuple[Hours, list[Hours]]:
        place = Place.objects.filter(latitude=latitude, longitude=longitude).first()
        if place is None:
            return _unknown(float(str(latitude)), float(str(longitude)), zone, label, *self.span), []
        since = self.now - rules.FORECAST_LAPSES
        freshest = hours_for(place, *self.span, issued_since=since)
        names = sources_of(place, since)
        if len(names) < 2:
            return freshest, []
        return freshest, [hours_for(place, *self.span, issued_since=since, source=name) for name in names]


@lru_cache(maxsize=256)
def _air(hours: Hours) -> Air:
    return air.air_of(hours)


def _unknown(latitude: float, longitude: float, zone: str, label: str, start: datetime, end: datetime) -> Hours:
    times = hours_between(start, end)
    none = (None,) * len(times)
    return Hours(
        label, latitude, longitude, zone, times, none, none, (0.0,) * len(times), (False,) * len(times), (), ()
    )
