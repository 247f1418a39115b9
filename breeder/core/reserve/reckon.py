"""The `reckon` subjects `reserve` and `book`: what must stay and what may be sold, from a JSON document."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from breeder.core.jsonio import CONTRACT
from breeder.core.jsonio.document_reader import Reader

from . import effective_size
from .allele_retention import animals_needed_for_allele
from .book import StageFigures, TubFigures, open_book
from .book_document import read_book
from .breeding_minimum import CLONAL, REPRODUCTIONS, TWO_SEXES, breeders_needed
from .defaults import CONFIDENCE
from .point_surplus import surplus_of_estimate
from .starters import chance_of_both_sexes

PARTS = ("males", "females", "sizes_by_generation", "limit", "allele", "surplus", "starter")

LEAST_SHARE = 1e-4  # of anything here; less is a typing slip and would give unreadable numbers of animals
LEAST_FREQUENCY = 1e-9  # of an allele; no kept stock is large enough to hold a rarer one
LEAST_TIME, MOST_TIME = 0.01, 1e5  # years or days
MOST_STOCK = 10**9  # animals in a whole line

JsonObject = dict[str, Any]
Part = Callable[[], JsonObject]  # computed only after the whole document proved valid


def reserve(document: dict[str, Any]) -> JsonObject:
    """Return the answers to each part of the document. Raises BadInput with every fault."""
    reader = Reader(document)
    parts = [part(reader) for part in (_sexes, _sizes, _limit, _allele, _surplus, _starter)]
    if reader.usable and not any(parts):
        reader.fault(None, f"Nothing is asked. Give one of: males with females, {', '.join(PARTS[2:])}.")
    reader.finish()
    answer: JsonObject = {"contract": CONTRACT}
    notes: list[str] = []
    for part in parts:
        results = part() if part is not None else {}
        notes += results.pop("notes", [])
        answer |= results
    return answer | {"notes": notes}


def _sexes(reader: Reader) -> Part | None:
    if not (reader.has("males") or reader.has("females")):
        return None
    males, females = (reader.whole(name, low=0, high=MOST_STOCK) for name in ("males", "females"))

    def answer() -> JsonObject:
        size = effective_size.effective_size(males, females)
        notes = [] if size else ["A sex is missing, so the effective size is 0 and inbreeding cannot be computed."]
        rate = effective_size.inbreeding_per_generation(size)
        return {"effective_size": size, "inbreeding_per_generation": rate, "notes": notes}

    return answer


def _sizes(reader: Reader) -> Part | None:
    if not reader.has("sizes_by_generation"):
        return None
    sizes = reader.numbers("sizes_by_generation", least=1, low=0)
    return lambda: {"effective_size_over_time": effective_size.effective_size_over_time(sizes)}


def _limit(reader: Reader) -> Part | None:
    share_male = reader.number("share_male", low=0, high=1, default=0.5)
    sexed = reader.flag("sexed", default=False)
    share = reader.number("effective_share", low=LEAST_SHARE, high=2, default=1.0)
    reproduction = reader.choice("reproduction", REPRODUCTIONS, default=TWO_SEXES)
    limit = reader.object_or_none("limit")
    if limit is None:
        return None
    inbreeding = limit.number("inbreeding", low=LEAST_SHARE, below=1)
    years, days = (
        limit.number("years", low=LEAST_TIME, high=MOST_TIME),
        limit.number("generation_days", low=LEAST_TIME, high=MOST_TIME),
    )
    limit.done()
    if reproduction == TWO_SEXES and not LEAST_SHARE <= share_male <= 1 - LEAST_SHARE:
        reader.fault("share_male", f"It is {share_male:g}, so one sex is missing. Give a share between 0 and 1.")

    def answer() -> JsonObject:
        size = effective_size.effective_size_needed(inbreeding, years, days)
        needed = breeders_needed(size, share, share_male, sexed=sexed, reproduction=reproduction)
        clonal = "A clonal line has no inbreeding to limit, so no number of breeders follows from it."
        return {
            "effective_size_needed": size,
            "breeders_needed": needed,
            "notes": [clonal] if reproduction == CLONAL else [],
        }

    return answer


def _allele(reader: Reader) -> Part | None:
    allele = reader.object_or_none("allele")
    if allele is None:
        return None
    frequency = allele.number("frequency", low=LEAST_FREQUENCY, below=1)
    confidence = allele.number("confidence", above=0, below=1, default=CONFIDENCE)
    allele.done()
    return lambda: {"animals_needed": animals_needed_for_allele(frequency, confidence)}


def _surplus(reader: Reader) -> Part | None:
    asked = reader.object_or_none("surplus")
    if asked is None:
        return None
    estimate, error = (asked.number(name, low=0, high=MOST_STOCK) for name in ("estimate", "standard_error"))
    portions = asked.whole_or_none("portions", low=2)
    loss = asked.number("handling_loss", low=0, below=1, default=0.0)
    minimum = asked.whole("breeding_minimum", low=0, default=0)
    promised = asked.whole("promised", low=0, default=0)
    confidence = asked.number("confidence", low=0.5, below=1, default=CONFIDENCE)
    asked.done()

    def answer() -> JsonObject:
        lot = surplus_of_estimate(estimate, error, portions, minimum, promised, loss, confidence)
        return {"lower": lot.lower, "surplus": lot.surplus}

    return answer


def _starter(reader: Reader) -> Part | None:
    starter = reader.object_or_none("starter")
    if starter is None:
        return None
    animals = starter.whole("animals", low=0)
    share, survival = (
        starter.number("share_female", low=0, high=1),
        starter.number("survival", low=0, high=1, default=1.0),
    )
    starter.done()
    return lambda: {"both_sexes": chance_of_both_sexes(animals, share, survival)}


def book(document: dict[str, Any]) -> JsonObject:
    """Return the figures of a line's tubs and what may be sold, from its entries. Raises BadInput with every fault."""
    given = read_book(Reader(document))
    pages = open_book(given.as_of, given.terms, given.tubs, given.entries, given.promises)
    tubs: dict[str, JsonObject] = {str(tub.tub): {} for tub in given.tubs}
    for stage, page in pages.items():
        for tub in page.tubs:
            tubs[str(tub.tub)][stage] = _tub(tub)
    late = sum(1 for entry in given.entries if entry.on > given.as_of and entry.corrects is None)
    after = [f"{late} entries after {given.as_of.isoformat()} are left out."] if late else []
    line = {stage: _stage(page, [*given.notes.get(stage, []), *after]) for stage, page in pages.items()}
    return {"contract": CONTRACT, "as_of": given.as_of.isoformat(), "tubs": tubs, "line": line}


def _tub(page: TubFigures) -> JsonObject:
    aged = page.aged
    assert math.isfinite(aged.middle)
    return {
        "middle": aged.middle,
        "log_sd": aged.log_sd,
        "moved": aged.moved,
        "lower": page.lower,
        "counted_on": None if aged.counted_on is None else aged.counted_on.isoformat(),
        "expected": aged.expected,
        "stale": page.stale,
        "kept_back": page.free.kept_back,
        "promised": page.free.promised,
        "free": page.free.number,
        "notes": list(page.free.why),
    }


def _stage(page: StageFigures, notes: list[str]) -> JsonObject:
    return {
        "lower": page.line.lower,
        "breeding_minimum": page.line.kept_back,
        "promised": page.line.promised,
        "free": page.line.number,
        "short": page.line.short,
        "breeders": page.breeders,
        "notes": [*page.line.why, *notes],
    }
