"""Lines, tubs and packs of the invented breeder, from fixtures/demo/lines.csv."""

import csv
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from random import Random

from django.conf import settings

from breeder.cultures.models import Culture, Stage
from breeder.orders.models import Offer
from breeder.orders.rules.packs import usual_overcount
from breeder.species.models import Line, Species
from breeder.species.rules import default_adults_kept

FOLDER = settings.BASE_DIR / "fixtures" / "demo"
YOUNGEST_DAYS, OLDEST_DAYS = 420, 1400
SIDE_TUBS = (("quarantine", 1), ("mixed", 2), ("isolation", 3))


@dataclass
class Truth:
    """What really lives in a tub; the demo's keeper never sees these numbers."""

    tub: Culture
    adults_aim: float
    young_aim: float
    adults: float = 0.0
    young: float = 0.0
    counted_on: date | None = None


@dataclass
class Stock:
    """All lines with their tubs and packs."""

    truths: list[Truth] = field(default_factory=list)
    offers: list[Offer] = field(default_factory=list)

    def line(self, name: str, form: str = "") -> Line:
        """Return the line of this species and form."""
        return next(
            truth.tub.line
            for truth in self.truths
            if truth.tub.line.species.scientific_name == name and truth.tub.line.form_name == form
        )

    def offer(self, line: Line, kind: str = Offer.Kind.STARTER) -> Offer:
        """Return a pack of a line."""
        return next(offer for offer in self.offers if offer.line_id == line.pk and offer.kind == kind)


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of one of the demo's files."""
    with (FOLDER / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def build(today: date, dice: Random) -> Stock:
    """Write lines, tubs and packs."""
    stock, number, on_shelf = Stock(), 1, {}
    for row in rows("lines.csv"):
        line = _line(row)
        for _ in range(int(row["tubs"])):
            place = on_shelf[row["shelf"]] = on_shelf.get(row["shelf"], 0) + 1
            stock.truths.append(_tub(line, row, number, place, today, dice))
            number += 1
        stock.offers += _offers(line, row)
    for purpose, place in SIDE_TUBS:
        stock.truths.append(_side_tub(stock, purpose, number, place, today))
        number += 1
    return stock


def _line(row: dict[str, str]) -> Line:
    species = Species.objects.get(scientific_name=row["scientific_name"], qualifier=row["qualifier"])
    cups = species.reproduction == Species.Reproduction.CLONAL
    kept = default_adults_kept(row["irreplaceable"] == "yes")
    return Line.objects.create(
        species=species,
        form_name=row["form"],
        locality=row["locality"],
        provenance=row["provenance"],
        irreplaceable=row["irreplaceable"] == "yes",
        shown_by=row["shown_by"],
        sold_by=Line.SoldBy.CUP if cups else Line.SoldBy.HEAD,
        adults_kept=kept,
        young_kept=kept,
    )


def _tub(line: Line, row: dict[str, str], number: int, place: int, today: date, dice: Random) -> Truth:
    tub = Culture.objects.create(
        number=number,
        line=line,
        shelf=row["shelf"],
        place_on_shelf=place,
        litres=Decimal(dice.choice(["3.0", "6.0", "11.0"])),
        started_on=today - timedelta(days=dice.randint(YOUNGEST_DAYS, OLDEST_DAYS)),
    )
    share = 1 / int(row["tubs"])
    return Truth(tub, float(row["adults"]) * share * 1.4, float(row["young"]) * share * 1.6)


def _side_tub(stock: Stock, purpose: str, number: int, place: int, today: date) -> Truth:
    """Return one of the tubs that supply no animals: newcomers, the mixed tub, an isolated trait."""
    tub = Culture.objects.create(
        number=number,
        line=stock.truths[0].tub.line if purpose != "quarantine" else stock.line("Armadillidium nasatum", "Ember"),
        shelf="Q",
        place_on_shelf=place,
        purpose=purpose,
        quarantine_until=today + timedelta(days=12) if purpose == "quarantine" else None,
        started_on=today - timedelta(days=18 * place),
        note={"mixed": "culls of all colours", "isolation": "two pale females"}.get(purpose, "swap of this month"),
    )
    return Truth(tub, 8, 12, adults=8, young=12)


def _offers(line: Line, row: dict[str, str]) -> list[Offer]:
    price, number = Decimal(row["price"]), int(row["pack"])
    if line.sold_by == Line.SoldBy.CUP:
        return [Offer.objects.create(line=line, kind=Offer.Kind.CUP, stage=Stage.CUPS, number=1, price=price)]
    made = [
        Offer.objects.create(
            line=line,
            kind=Offer.Kind.STARTER,
            stage=Stage.YOUNG,
            number=number,
            overcount=usual_overcount(Offer.Kind.STARTER, number),
            price=price,
        )
    ]
    if line.shown_by == Line.ShownBy.FEMALES:
        made.append(_sexed(line, Offer.Kind.SHOWING, 0, 3, price))
    elif line.species.group == Species.Group.MILLIPEDE:
        made.append(_sexed(line, Offer.Kind.SEXED, 1, 1, None))
    return made


def _sexed(line: Line, kind: str, males: int, females: int, price: Decimal | None) -> Offer:
    return Offer.objects.create(
        line=line, kind=kind, stage=Stage.ADULTS, number=males + females, males=males, females=females, price=price
    )
