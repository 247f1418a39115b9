"""Prepare what the board page shows, so that its template decides nothing."""

from datetime import date
from typing import Any

from django.core.paginator import Paginator
from django.utils import timezone
from django.utils.text import get_text_list

from breeder.base.dates import weekday_said
from breeder.base.formatting import NEVER, odds
from breeder.base.models import Setting
from breeder.carriers.queries import closures_by_carrier
from breeder.core.thermal.verdict import GO, NOT_DECIDED
from breeder.core.transit import rule_of_thumb
from breeder.core.transit.results import Cell, Option
from breeder.core.transit.schedule import Aim, PlannedBox, ShippingPlan
from breeder.shipments import check_text
from breeder.shipments.board import Board, BoardRow
from breeder.shipments.queries import checks
from breeder.shipments.queries.checks import BoxStatus

UNKNOWN = "odds not known"
ROWS_A_PAGE = 40  # of ten days each: more would make the page slow to read and to make
AIM_NAMES = {Aim.EARLIEST: "earliest Go", Aim.FEWEST: "fewest packing days", Aim.CHEAPEST: "cheapest kits"}


def board_context(
    board: Board, spread: ShippingPlan | None, aim: Aim, household: Setting, page: str | None = None
) -> dict[str, Any]:
    """Return one page of the board's rows in order of promised date, and the plan for all."""
    days = sorted({cell.on for row in board.rows for cell in row.cells})
    ordered = sorted(board.rows, key=lambda row: (row.parcel.order.promised_by or date.max, row.parcel.number))
    shown = Paginator(ordered, ROWS_A_PAGE).get_page(page)
    latest = checks.latest_checks(row.parcel.pk for row in shown)
    now, closures = timezone.now(), closures_by_carrier()
    given = {} if spread is None else {choice.number: choice for choice in spread.given}
    rows = []
    for row in shown:
        standing = checks.box_status(row.parcel, latest.get(row.parcel.pk), household, now, closures=closures)
        rows.append(_row(row, days, given.get(row.parcel.number), standing))
    return {
        "rows": rows,
        "page": shown,
        "plan": [
            f"{choice.number}:{choice.on.isoformat()}:{choice.option.candidate.kit_id}" for choice in given.values()
        ],
        "said": progress_text(board) if spread is None else plan_text(spread, board, aim, household.currency),
        "notes": [] if spread is None else plan_notes(spread, board),
        "packed": board.packed,
        "is_open": spread is None,
    }


def progress_text(board: Board) -> str:
    """Return how far the board is: '9 of 14 boxes are worked out, the rest in a moment.'"""
    whole, done = len(board.rows), len(board.rows) - board.open_rows
    if done == whole:
        worked, them = ("The box is", "it") if whole == 1 else (f"All {whole} boxes are", "them")
        return f"{worked} worked out; the plan for {them} follows in a moment."
    return f"{done} of {whole} {'box is' if whole == 1 else 'boxes are'} worked out, the rest in a moment."


def plan_text(spread: ShippingPlan, board: Board, aim: Aim, currency: str) -> str:
    """Return the result of the plan: '12 of 14 boxes find a day, on 3 packing days; kits …'"""
    number, days = len(spread.given), spread.days
    if not number:
        return "No box finds a day."
    of = "the box finds" if len(board.rows) == 1 else f"{number} of {len(board.rows)} boxes find{'s' * (number == 1)}"
    on = f"on {days} packing {'day' if days == 1 else 'days'}"
    return f"By {AIM_NAMES[aim]}: {of} a day, {on}; kits cost {spread.cost:.2f} {currency}."


def plan_notes(spread: ShippingPlan, board: Board) -> list[str]:
    """Return the plan's open points: supplies that run out, boxes without a day, days after the promised date."""
    notes = list(spread.shortages)
    if board.not_made:
        notes.append(f"The shelf cannot make up, so these were not tried: {'; '.join(board.not_made)}.")
    if spread.without:
        boxes = (
            f"box{'es' * (len(spread.without) > 1)} {get_text_list([str(number) for number in spread.without], 'and')}"
        )
        notes.append(
            f"No day is found for {boxes}. Tell the buyer, try a counter or a faster service, or bring newer hours."
        )
    late = [choice for choice in spread.given if choice.is_late]
    notes += [
        f"Box {choice.number} would leave on {weekday_said(choice.on)}, after its promised date." for choice in late
    ]
    return notes


def _row(row: BoardRow, days: list[date], given: PlannedBox | None, standing: BoxStatus) -> dict[str, Any]:
    by_day = {cell.on: cell for cell in row.cells}
    parcel = row.parcel
    return {
        "parcel": parcel,
        "to": str(parcel.order.address or parcel.order.person),
        "promised_by": parcel.order.promised_by,
        "blocks": row.blocks,
        "why_not": row.why_not or _without_days(row),
        "is_open": row.is_open,
        "cells": [_cell(by_day[day], parcel, given, standing) if day in by_day else {"on": day} for day in days]
        if row.cells
        else [],
    }


def _without_days(row: BoardRow) -> str:
    return "" if row.cells or row.blocks or row.is_open else f"{row.parcel.service} takes no box in the next days."


def _cell(cell: Cell, parcel: Any, given: PlannedBox | None, standing: BoxStatus) -> dict[str, Any]:
    """Return one day of one box; its chosen day shows the stored check while that is valid."""
    is_chosen = cell.on == parcel.post_on
    option = (cell.of_kit(parcel.kit_id) if is_chosen else None) or cell.shown
    is_planned = given is not None and given.on == cell.on
    if is_planned and given is not None:
        option = given.option if not is_chosen else option
    checked = is_chosen and standing.check is not None and not standing.leave.others
    # The button chooses what the cell shows; a checked kit may be one that the board did not reach.
    checked_kit = parcel.kit if checked else None
    return {
        "on": cell.on,
        "cell": cell,
        "verdict": standing.verdict if checked else str(option.verdict),
        "checked": checked,
        "kit": standing.check.result["kit"]["name"] if checked else option.candidate.name,
        "cost": checked_kit.cost if checked_kit else option.candidate.cost,
        "odds": _checked_odds(standing) if checked else option_odds_text(option),
        "reason": standing.check.reason if checked else reason_text(cell, option),
        "is_chosen": is_chosen,
        "is_planned": is_planned,
        "choice": f"{parcel.number}:{cell.on.isoformat()}:{checked_kit.pk if checked_kit else option.candidate.kit_id}",
    }


def _checked_odds(standing: BoxStatus) -> str:
    return UNKNOWN if standing.comfort is None else _both(odds(standing.comfort), odds(standing.hard))


def option_odds_text(option: Option) -> str:
    """Return the odds of both limits: 'comfort 1 in 9, hard limit never'; 'or more' where the count was cut short."""
    if option.decided == NOT_DECIDED:
        return UNKNOWN
    if not option.at_least:
        return _both(odds(option.comfort), odds(option.hard))
    # Cases were skipped once one limit had failed; the other limit is left out if nothing failed it so far.
    parts = [("comfort", option.comfort), ("hard limit", option.hard)]
    texts = [f"{name} {odds(share).removeprefix('about ')} or more" for name, share in parts if share > NEVER]
    return ", ".join(texts)


def _both(comfort: str, hard: str) -> str:
    return f"comfort {comfort.removeprefix('about ')}, hard limit {hard.removeprefix('about ')}"


def reason_text(cell: Cell, option: Option) -> str:
    """Return why: the hour that fails, the missing hours, or the odds of both limits where the box may go."""
    if option.decided == NOT_DECIDED:
        return f"The forecast lacks {cell.missing_hours} of the hours that its way and late days need."
    text = option_odds_text(option)
    both = f"{text[0].upper()}{text[1:]}."
    if option.decided == GO:
        return both
    if option.is_barred:
        return f"{rule_of_thumb.HARSH_TEXT} {both}"
    case = cell.shape.cases[option.case]
    late = "" if option.case == 0 else f", {case.name}"
    where = check_text.location_text(case, option.hour, cell.destination_zone)
    return f"It gets too {option.side} {where}{late}. {both}"
