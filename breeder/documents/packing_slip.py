"""Draw the packing slip that travels with the animals.

50 CFR 14.81 asks for shipper, consignee, and a list by scientific name with the number of each species and whether it
is venomous. USPS Publication 52, section 521, has animals travel without food or water. The slip names the permits
(7 CFR 330 asks for a label that shows the authorization; USPS Publication 14, 33).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Paragraph, Spacer, Table

from breeder.cultures.phrases import animals
from breeder.documents.page_frame import BIG, BODY, SMALL, SOFT, Sheet, centered, right, style, table
from breeder.documents.printed_names import Name
from breeder.documents.printed_text import Ink
from breeder.documents.rules import sexes

WIDTHS = [0, 32 * mm, 38 * mm, 13 * mm, 21 * mm, 23 * mm]
ALIGNED = {"Cups": 1, "Number": 2}
HEADS = ["Scientific name", "Stage", "Sexes", "Cups", "Number", "Venomous"]

# Common practice among keepers, no source. They count twice because losses of a journey may show days later, as in
# hissing cockroaches that were partly frozen for a day (Lubawy et al. 2019, J. Exp. Biol. 222, jeb213744).
CARE = (
    "Open the box at once, indoors and out of the sun.",
    "Let it come to room temperature slowly. Never put it on a heater or in the sun.",
    "Mist one side of their new tub, then move them over with what they travelled in.",
    "Count them after 24 hours and again after 48 to 72 hours: losses of the journey can show late.",
)


@dataclass(frozen=True)
class SlipContent:
    """Animals of one line and stage in the box."""

    name: Name
    stage: str
    number: int
    males: int = 0
    females: int = 0
    cups: int = 1
    venomous: bool = False
    secretes: str = ""

    @property
    def species(self) -> tuple[str, str]:
        return (self.name.scientific, self.name.qualifier)


@dataclass(frozen=True)
class Slip:
    """Everything that the slip of one box shows."""

    box: int
    order: int
    shipper: str
    consignee: str
    contents: tuple[SlipContent, ...]
    has_pack: bool = False
    terms: str = ""
    permits: tuple[str, ...] = ()


def packing_slip(slip: Slip, sheet: Sheet) -> bytes:
    """Return the slip as a PDF."""
    contents = sorted(slip.contents, key=lambda content: (content.species, content.name.form, content.name.locality))
    story: list[Flowable] = [
        _addresses(slip, sheet),
        Spacer(0, 6 * mm),
        _list(contents, sheet),
        Spacer(0, 2 * mm),
        sheet.text(_together(contents), bold=True),
        *[sheet.text(f"Sent under {permit}.") for permit in slip.permits],
        Spacer(0, 5 * mm),
        KeepTogether(_points("Cautions", _cautions(slip, sheet.ink), sheet)),
        Spacer(0, 4 * mm),
        KeepTogether(_points("When it arrives (common practice)", CARE, sheet)),
    ]
    if slip.terms.strip():
        story += [Spacer(0, 4 * mm), sheet.text("Terms", BIG, bold=True), sheet.text(slip.terms.strip())]
    return sheet.print(story)


def _addresses(slip: Slip, sheet: Sheet) -> Table:
    half = sheet.width / 2
    heads = [sheet.text("From (shipper)", SMALL + 1, color=SOFT), sheet.text("To (consignee)", SMALL + 1, color=SOFT)]
    blocks = [sheet.text(slip.shipper, BODY + 1), sheet.text(slip.consignee, BODY + 1)]
    return Table(
        [heads, blocks],
        colWidths=[half, half],
        style=[("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (0, -1), 0)],
    )


def _list(contents: Sequence[SlipContent], sheet: Sheet) -> Table:
    rows: list[list[Flowable]] = [
        [sheet.text(head, SMALL + 1, color=SOFT, alignment=ALIGNED.get(head, 0)) for head in HEADS]
    ]
    looks: list[tuple[object, ...]] = [("LEFTPADDING", (-1, 0), (-1, -1), 4 * mm)]
    for _, group in groupby(contents, key=lambda content: content.species):
        same = list(group)
        if len(same) > 1:
            rows.append(_species_row(same, sheet))
            # The species row stays with its first form.
            looks.append(("NOSPLIT", (0, len(rows) - 1), (0, len(rows))))
        rows += [_content_row(content, sheet, alone=len(same) == 1) for content in same]
    widths = [width or sheet.width - sum(WIDTHS) for width in WIDTHS]
    return table(rows, widths, more=looks)


def _species_row(same: Sequence[SlipContent], sheet: Sheet) -> list[Flowable]:
    """Return the total row of a species that is in the box in several forms or stages."""
    number = _amount(_heads(same), _cultures(same))
    return [
        Paragraph(same[0].name.species(sheet.ink), style()),
        sheet.text("in all", color=SOFT),
        sheet.text(""),
        sheet.text(""),
        sheet.text(number, bold=True, alignment=2),
        _venomous(same[0], sheet),
    ]


def _content_row(content: SlipContent, sheet: Sheet, *, alone: bool) -> list[Flowable]:
    ink = sheet.ink
    if alone:
        name = Paragraph(content.name.whole(ink), style())
    else:
        name = Paragraph(content.name.kind(ink) or "without a form name", style(leftIndent=5 * mm))
    stage = "cup of culture, not counted" if content.stage == "cups" else content.stage
    number = animals(content.number, "cups") if content.stage == "cups" else str(content.number)
    return [
        name,
        sheet.text(stage),
        Paragraph(ink(sexes(content.number, content.males, content.females)), style()),
        Paragraph(str(content.cups), centered()),
        Paragraph(ink(number, bold=alone), right()),
        _venomous(content, sheet) if alone else sheet.text(""),
    ]


def _venomous(content: SlipContent, sheet: Sheet) -> Paragraph:
    return sheet.text("YES" if content.venomous else "no", bold=content.venomous)


def _heads(contents: Sequence[SlipContent]) -> int:
    return sum(content.number for content in contents if content.stage != "cups")


def _cultures(contents: Sequence[SlipContent]) -> int:
    return sum(content.number for content in contents if content.stage == "cups")


def _amount(heads: int, cups: int) -> str:
    parts = [str(heads)] if heads or not cups else []
    return " + ".join([*parts, animals(cups, "cups")] if cups else parts)


def _together(contents: Sequence[SlipContent]) -> str:
    heads, cultures = _heads(contents), _cultures(contents)
    kinds = len({content.species for content in contents})
    counts = [animals(heads, "animals")] if heads else []
    counts += [f"{animals(cultures, 'cups')} of culture"] if cultures else []
    return f"Together: {' and '.join(counts)} of {kinds} species."


def _cautions(slip: Slip, ink: Ink) -> list[str]:
    """Return the cautions for these contents as markup; the general ones are common practice, no source."""
    points = ["Live animals, packed without food or water. Do not leave them in the box longer than the journey takes."]
    if slip.has_pack:
        points.append("The box holds a heat or cold pack. Take it out first, do not open it, keep it from the animals.")
    for content in {content.species: content for content in slip.contents}.values():
        species = content.name.species(ink)
        if content.venomous:
            points.append(f"{species} is venomous. Do not touch it with bare hands.")
        if content.secretes:
            gives = f"{species} gives off {ink(content.secretes)} when disturbed."
            points.append(f"{gives} Keep it from eyes and mouth, and wash your hands.")
    points.append("Never release them, their substrate or their young outdoors.")
    return points


def _points(title: str, points: Sequence[str], sheet: Sheet) -> list[Flowable]:
    hung = {"leftIndent": 4 * mm, "bulletIndent": 0, "spaceAfter": 2}
    heading: list[Flowable] = [sheet.text(title, BIG, bold=True, spaceAfter=3)]
    return heading + [Paragraph(point, style(**hung), bulletText="–") for point in points]
