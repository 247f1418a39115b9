"""Read what is printed, as frozen values for the drawing modules."""

from collections.abc import Iterable, Sequence
from datetime import date

from django.db.models import Max, QuerySet
from django.urls import reverse
from django.utils import timezone

from breeder.base.formatting import money
from breeder.base.models import Setting
from breeder.carriers.queries import carrier_closures
from breeder.carriers.rulebook import read_rules, requested_markings
from breeder.core.transit.delivery_days import after_working_days
from breeder.cultures.models import SHELF_ORDER, Culture, Stage
from breeder.cultures.phrases import animals
from breeder.documents import rules
from breeder.documents.address_label import AddressLabel
from breeder.documents.cup_labels import Cup
from breeder.documents.packing_slip import Slip, SlipContent
from breeder.documents.page_frame import day, weekday
from breeder.documents.price_list import PricedPack
from breeder.documents.printed_names import Name
from breeder.documents.pulling_list import PullRow
from breeder.documents.round_sheet import RoundRow
from breeder.documents.rules import NothingToPrint
from breeder.documents.tub_labels import TubCard
from breeder.orders.models import Offer
from breeder.orders.queries.orders import lines_on_offer
from breeder.orders.rules.packs import Availability, availability
from breeder.shipments.legal_block import ask_box
from breeder.shipments.models import Parcel, ParcelItem
from breeder.species.models import Line, Species


def parcel_by_number(number: int) -> Parcel:
    """Return a parcel with everything printed about it. Raises NothingToPrint if there is none or it is empty."""
    parcel = _parcels().filter(number=number).first()
    if parcel is None:
        raise NothingToPrint(f"There is no box {number}. Choose a box on the packing page.")
    if not parcel.items.all():
        raise NothingToPrint(f"Box {number} holds nothing yet. Put animals of its order into it, then print.")
    return parcel


def parcels_of_day(on: date) -> list[Parcel]:
    """Return the boxes still to pack for one day. Raises NothingToPrint if there are none."""
    parcels = [parcel for parcel in _parcels().filter(post_on=on, status=Parcel.Status.WAITING) if parcel.items.all()]
    if not parcels:
        raise NothingToPrint(f"No box waits to be packed for {day(on)}. Choose another day on the packing page.")
    return parcels


def _parcels() -> QuerySet[Parcel]:
    items = ("items__order_line__offer__line__species", "items__culture__line__species")
    return Parcel.objects.select_related("order__person", "order__address", "service", "kit").prefetch_related(*items)


def _line(item: ParcelItem) -> Line:
    """Return the line actually in the box: the tub's, which may differ from the line ordered."""
    return item.culture.line if item.culture else item.order_line.offer.line


def _number(item: ParcelItem) -> int:
    return item.planned if item.packed is None else item.packed


def pulls(parcels: Iterable[Parcel]) -> list[PullRow]:
    """Return what to take from which tub for these boxes."""
    return [_pull(item, parcel.number) for parcel in parcels for item in parcel.items.all()]


def _pull(item: ParcelItem, box: int) -> PullRow:
    tub = item.culture
    return PullRow(
        tub=tub.number if tub else None,
        shelf=tub.shelf if tub else "",
        place=tub.place_on_shelf if tub else 0,
        name=Name.of(_line(item)),
        stage=item.order_line.offer.stage,
        number=item.planned,
        males=item.males,
        females=item.females,
        cups=item.cups,
        box=box,
    )


def slip(parcel: Parcel, home: Setting) -> Slip:
    """Return the slip of a box: as packed where that is known, else as planned."""
    contents = _contents([item for item in parcel.items.all() if _number(item)])
    if not contents:
        raise NothingToPrint(f"Nothing was packed in box {parcel.number}, so it has no packing slip.")
    return Slip(
        box=parcel.number,
        order=parcel.order.number,
        shipper=rules.address_text(home.trade_name, home.return_address),
        consignee=consignee(parcel),
        contents=contents,
        has_pack=bool(parcel.kit and parcel.kit.packs),
        terms=home.terms,
        permits=_permits(parcel, home),
    )


def _permits(parcel: Parcel, home: Setting) -> tuple[str, ...]:
    """Return the permits that the animals of a box travel under, on the day it is or was handed over."""
    sent = timezone.localdate(parcel.sent_at) if parcel.sent_at else None
    on = sent or parcel.post_on or timezone.localdate()
    return tuple(permit.called for permit in ask_box(read_rules(home.region), parcel, on).permits)


def _contents(items: Iterable[ParcelItem]) -> tuple[SlipContent, ...]:
    """Return what is in the box by line and stage, whatever tubs it came from."""
    alike: dict[tuple[int, str], list[ParcelItem]] = {}
    for item in items:
        alike.setdefault((_line(item).pk, item.order_line.offer.stage), []).append(item)
    return tuple(_content(same) for same in alike.values())


def _content(same: Sequence[ParcelItem]) -> SlipContent:
    line, stage = _line(same[0]), same[0].order_line.offer.stage
    number = sum(map(_number, same))
    return SlipContent(
        name=Name.of(line),
        stage=stage,
        number=number,
        males=sum(item.males for item in same),
        females=sum(item.females for item in same),
        cups=number if stage == Stage.CUPS else max(sum(item.cups for item in same), 1),
        venomous=line.species.venomous,
        secretes=line.species.secretes,
    )


def consignee(parcel: Parcel) -> str:
    """Return the name and address of the person the box goes to."""
    address = parcel.order.address
    return rules.address_text(parcel.order.person.name, address.block if address else "")


def address_label(parcel: Parcel, home: Setting) -> AddressLabel:
    """Return what the address side of a box says."""
    species = [_line(item).species for item in parcel.items.all() if _number(item)]
    service, address = parcel.service, parcel.order.address
    return AddressLabel(
        box=parcel.number,
        sender=rules.address_text(home.trade_name, home.return_address),
        consignee=consignee(parcel),
        has_address=bool(address and address.block.strip()),
        has_return=bool(home.return_address.strip()),
        contents=rules.contents_text(
            {each.group for each in species},
            venomous=any(each.venomous for each in species),
            harmful=any(each.secretes for each in species),
        ),
        deliver_by=weekday(deliver_by(parcel)),
        service=str(service) if service else "",
        hold_for_pickup=parcel.way == Parcel.Way.COUNTER,
        marking=service.marking or ", ".join(requested_markings(read_rules(home.region), species, service))
        if service
        else "",
    )


def deliver_by(parcel: Parcel) -> date | None:
    """Return the planned latest day of delivery; None without a day or a service."""
    if parcel.post_on is None or parcel.service is None:
        return None
    closures = carrier_closures(parcel.service.carrier)
    return after_working_days(parcel.post_on, parcel.service.latest_days, closures)


def cups(parcel: Parcel) -> list[Cup]:
    """Return one label for each cup of a box; animals of one pack from several tubs go into its cups together."""
    packed = timezone.localdate(parcel.packed_at) if parcel.packed_at else parcel.post_on
    packs: dict[tuple[int, int], list[ParcelItem]] = {}
    for item in parcel.items.all():
        if _number(item):
            packs.setdefault((item.order_line_id, _line(item).pk), []).append(item)
    rules.refuse_too_many(sum(map(_cup_count, packs.values())), "cup labels")
    return [cup for items in packs.values() for cup in _cups_of_pack(items, day(packed), parcel.number)]


def _cup_count(items: Sequence[ParcelItem]) -> int:
    if items[0].order_line.offer.stage == Stage.CUPS:
        return sum(map(_number, items))
    return max(sum(item.cups for item in items), 1)


def _cups_of_pack(items: Sequence[ParcelItem], on: str, box: int) -> list[Cup]:
    stage, name, many = items[0].order_line.offer.stage, Name.of(_line(items[0])), _cup_count(items)
    inside, males, females = (
        sum(map(_number, items)),
        sum(item.males for item in items),
        sum(item.females for item in items),
    )
    if males + females > inside:  # packed differently from the plan, so no cup claims a sex
        males = females = 0
    labels = []
    for nth, number in enumerate(rules.shares(inside, many), 1):
        count = "cup of culture" if stage == Stage.CUPS else animals(number, stage)
        which = f"cup {nth} of {many}" if many > 1 else ""
        labels.append(Cup(name, count, rules.sexes_in_cup(number, males, females, many), which, on, box))
    return labels


def tub_cards(numbers: Sequence[int], base: str) -> list[TubCard]:
    """Return labels of these tubs in the order asked for, or of all open tubs in shelf order."""
    tubs = Culture.objects.select_related("line__species")
    if not numbers:
        chosen = list(tubs.filter(closed_on=None))
    else:
        known = {tub.number: tub for tub in tubs.filter(number__in=numbers)}
        if missing := [str(number) for number in numbers if number not in known]:
            raise NothingToPrint(f"There is no tub {rules.list_text(missing)}. Check the numbers and print again.")
        chosen = [known[number] for number in numbers]
    if not chosen:
        raise NothingToPrint("There is no open tub yet. Start a tub first, then print its label.")
    rules.refuse_too_many(len(chosen), "tub labels")
    return [TubCard(tub.number, Name.of(tub.line), f"since {day(tub.started_on)}", _code(tub, base)) for tub in chosen]


def _code(tub: Culture, base: str) -> str:
    """Return what the square code of a tub holds: its page, or its name where no phone can open the page."""
    return f"{base}{reverse('cultures:tub', args=[tub.number])}" if base else str(tub)


def priced(home: Setting, on: date) -> tuple[list[PricedPack], list[Name]]:
    """Return the packs that can be sold today by group and name, and the lines with nothing free."""
    offers, gone = [], []
    rank = list(Species.Group.values)
    lines = lines_on_offer(on=on, only_public=True)
    for on_offer in sorted(lines, key=lambda each: (rank.index(each.line.species.group), str(each.line).casefold())):
        if not on_offer.packs:
            continue
        free = [(pack, availability(pack, home.few_below_packs)) for pack in on_offer.packs]
        if all(word == Availability.NONE for _, word in free):
            gone.append(Name.of(on_offer.line))
            continue
        offers += [_priced(on_offer.line, pack.offer, word, home) for pack, word in free if word != Availability.NONE]
    if not offers and not gone:
        raise NothingToPrint("Nothing is offered yet. Add a pack to a line on the page of offers, then print the list.")
    return offers, gone


def _priced(line: Line, offer: Offer, word: str, home: Setting) -> PricedPack:
    return PricedPack(
        group=rules.PLURAL[line.species.group].capitalize(),
        name=Name.of(line),
        common=line.species.vernacular_name,
        pack=offer.pack,
        price="" if offer.price is None else money(offer.price, home.currency),
        available=word,
    )


def round_rows(shelf: str = "") -> list[RoundRow]:
    """Return the open tubs in shelf order, of one shelf or all."""
    tubs = Culture.objects.filter(closed_on=None, **({"shelf": shelf} if shelf else {}))
    tubs = tubs.select_related("line__species").annotate(counted_at=Max("beliefs__counted_at")).order_by(*SHELF_ORDER)
    rows = [_round_row(tub) for tub in tubs]
    if not rows:
        where = f"on shelf {shelf[:40]}" if shelf else "yet"
        raise NothingToPrint(f"There is no open tub {where}. Start a tub first, then print the sheet.")
    return rows


def _round_row(tub: Culture) -> RoundRow:
    counted = tub.counted_at  # type: ignore[attr-defined]
    purpose = "" if tub.purpose in (Culture.Purpose.BREEDING, Culture.Purpose.GROWING) else tub.purpose
    return RoundRow(
        tub=tub.number,
        shelf=tub.shelf,
        name=Name.of(tub.line),
        purpose=f"{purpose} until {day(tub.quarantine_until)}" if purpose and tub.quarantine_until else purpose,
        counted=day(timezone.localdate(counted)) if counted else "never",
        by_cup=tub.line.sold_by == Line.SoldBy.CUP,
    )
