"""Choosing packs: which lines a form shows, each with its bar, its packs and how many of them are free."""

from dataclasses import dataclass
from typing import Any

from breeder.orders.forms.new_order import NAME, PACKS, PRICE, TUB, PacksForm
from breeder.orders.models import Offer
from breeder.orders.queries.orders import LineOnOffer
from breeder.orders.rules.packs import OfferFree

MOST_SHOWN = 25  # lines with all their packs on one page, besides those beside which something is typed


@dataclass(frozen=True)
class PickedPack:
    """One pack of a line with its fields."""

    offer: Offer
    free: int
    field: Any
    price_field: Any
    tub_field: Any = None


@dataclass(frozen=True)
class PickedLine:
    """One line as the form shows it."""

    line: LineOnOffer
    packs: tuple[PickedPack, ...]
    name_field: Any = None


@dataclass(frozen=True)
class Picked:
    """The lines shown, how many are left out, and the letters they were looked for by."""

    lines: tuple[PickedLine, ...]
    left_out: int
    find: str
    only_asked: bool = False

    @property
    def shown_said(self) -> str:
        """Return how many lines are shown, once they were looked for."""
        return f"{len(self.lines)} line{'' if len(self.lines) == 1 else 's'} below."

    @property
    def more_said(self) -> str:
        """Return how many lines are left out, where some are shown."""
        if not self.left_out or (self.only_asked and not self.find):
            return ""
        lines = "One more line is" if self.left_out == 1 else f"{self.left_out} more lines are"
        return f"{lines} not shown. Find them by name."

    @property
    def why_none(self) -> str:
        """Return what is said where no line is shown."""
        if self.find:
            return "No line that is sold in packs is called like that. Look for fewer letters."
        if self.only_asked:
            return "Find a line by its name to add packs of it."
        return "No line can give a pack just now. Find one by its name, count some tubs, or offer a line in a pack."


def picked(form: PacksForm, find: str, *, only_asked: bool = False) -> Picked:
    """Return the lines to show: those with something typed first, then those found.

    Without letters to find by, lines that can give a pack now are shown, or with `only_asked` none. A long list ends
    after MOST_SHOWN lines; letters lead to the others.
    """
    find = find.strip()
    offered = [line for line in form.lines if line.packs]
    typed = form.typed_lines()
    shown = [line for line in offered if line.line.pk in typed]
    others = [line for line in offered if line.line.pk not in typed and _is_found(line, find, only_asked)]
    shown += others[: max(0, MOST_SHOWN - len(shown))]
    return Picked(tuple(_with_fields(form, line) for line in shown), len(offered) - len(shown), find, only_asked)


def _is_found(line: LineOnOffer, find: str, only_asked: bool) -> bool:
    if not find:
        return line.gives and not only_asked
    return find.casefold() in f"{line.line} {line.line.species.vernacular_name}".casefold()


def _with_fields(form: PacksForm, line: LineOnOffer) -> PickedLine:
    return PickedLine(line, tuple(_pack(form, free) for free in line.packs), _field(form, f"{NAME}{line.line.pk}"))


def _pack(form: PacksForm, free: OfferFree) -> PickedPack:
    price, tub = (_field(form, f"{name}{free.offer.pk}") for name in (PRICE, TUB))
    return PickedPack(free.offer, free.packs, form[f"{PACKS}{free.offer.pk}"], price, tub)


def _field(form: PacksForm, name: str) -> Any:
    return form[name] if name in form.fields else None
