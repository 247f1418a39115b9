"""The `reckon` subject `count`: one count from a JSON document, or all of its faults at once."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from breeder.core.counting.methods import mark_recapture
from breeder.core.counting.methods.change_in_ratio import SexCounts, by_sexes
from breeder.core.counting.methods.count import Count, working_text
from breeder.core.counting.methods.direct import after_sale, full_sort, hand, weight
from breeder.core.counting.methods.removal import removal
from breeder.core.counting.methods.subsample import SubstrateLayer, layers
from breeder.core.counting.methods.visual import eye, index, piece
from breeder.core.jsonio import CONTRACT
from breeder.core.jsonio.document_reader import Reader

from .defaults import CONFIDENCE
from .errors import BadCount, CountChecks

Options = dict[str, Any]  # confidence and shared_sd, as every method takes them


def count(document: dict[str, Any]) -> dict[str, Any]:
    """Return estimate, standard error, one-sided lower bound, two-sided interval, method and notes of one count.

    Raises BadInput with every fault of the document.
    """
    reader = Reader(document)
    result = read_count(reader)
    reader.finish()
    assert result is not None  # finish() has raised where nothing could be counted
    return {
        "contract": CONTRACT,
        "method": result.method,
        "estimate": result.estimate,
        "standard_error": result.standard_error,
        "lower": result.lower,
        "interval": None if result.interval is None else list(result.interval),
        "log_sd": result.log_sd,
        "confidence": result.confidence,
        "shared_sd": result.shared_sd,
        "notes": list(result.notes),
        "working": list(working_text(result)),
    }


def read_count(reader: Reader) -> Count | None:
    """Return the count that an object describes, or None after noting what is wrong with it."""
    before = len(reader.faults)
    method = reader.choice("method", tuple(_READERS))
    options = {
        "confidence": reader.number("confidence", default=CONFIDENCE),
        "shared_sd": reader.number("shared_sd", default=0.0),
    }
    if method not in _READERS:
        reader.names()  # without a method no field can be called wrong
        return None
    counting = _READERS[method](reader, options)
    unread = len(reader.faults) > before
    reader.done()
    result = None
    try:
        # Check what could be read even when another field is wrong, so that every fault is named at once.
        if unread:
            _check_options(options)
        else:
            result = counting()
    except BadCount as bad:
        for field, sentence in bad.faults:
            reader.fault_at(f"{reader.path}.{field}" if reader.path else field, sentence)
    return result if len(reader.faults) == before else None


def _check_options(options: Options) -> None:
    """Check confidence and shared error alone, when the count itself cannot be read. Raises BadCount."""
    checks = CountChecks()
    read = {"confidence": CONFIDENCE, "shared_sd": 0.0} | {name: v for name, v in options.items() if math.isfinite(v)}
    checks.spread(read["confidence"], read["shared_sd"])
    checks.done()


def _eye(reader: Reader, options: Options) -> Callable[[], Count]:
    low, high = reader.whole("from"), reader.whole("to")
    return lambda: eye(low, high, **options)


def _hand(reader: Reader, options: Options) -> Callable[[], Count]:
    counted, missed = reader.whole("counted"), reader.number("missed_share", default=0.0)
    return lambda: hand(counted, missed, **options)


def _full_sort(reader: Reader, options: Options) -> Callable[[], Count]:
    counted, missed = reader.whole("counted"), reader.number("missed_share", default=0.0)
    return lambda: full_sort(counted, missed, **options)


def _portions(reader: Reader, options: Options) -> Callable[[], Count]:
    visible, whole_cv = reader.whole("visible", default=0), reader.number("whole_cv", default=0.0)
    if reader.has("strata"):
        parts = [_layer(part) for part in reader.objects("strata", least=1)]
    else:
        parts = [_layer(reader, ends=False)]
    return lambda: layers(parts, visible=visible, whole_cv=whole_cv, **options)


def _layer(reader: Reader, ends: bool = True) -> SubstrateLayer:
    layer = SubstrateLayer(reader.wholes("counts"), reader.numbers("sizes"), reader.number("whole"))
    if ends:
        reader.done()
    return layer


def _piece(reader: Reader, options: Options) -> Callable[[], Count]:
    seen, factor = reader.whole("seen"), reader.number("factor")
    return lambda: piece(seen, factor, **options)


def _index(reader: Reader, options: Options) -> Callable[[], Count]:
    seen, trial_seen, trial_known = (reader.whole(name) for name in ("seen", "trial_seen", "trial_known"))
    return lambda: index(seen, trial_seen, trial_known, **options)


def _weight(reader: Reader, options: Options) -> Callable[[], Count]:
    number, sample_g, whole_g = reader.whole("sample_count"), reader.number("sample_g"), reader.number("whole_g")
    return lambda: weight(number, sample_g, whole_g, **options)


def _marked(reader: Reader, options: Options) -> Callable[[], Count]:
    marked, caught, again = (reader.whole(name) for name in ("marked", "caught", "marked_caught"))
    return lambda: mark_recapture.marked(marked, caught, again, **options)


def _removal(reader: Reader, options: Options) -> Callable[[], Count]:
    catches = reader.wholes("catches")
    return lambda: removal(catches, **options)


def _after_sale(reader: Reader, options: Options) -> Callable[[], Count]:
    before, later, removed = reader.number("index_before"), reader.number("index_after"), reader.whole("removed")
    return lambda: after_sale(before, later, removed, **options)


def _by_sexes(reader: Reader, options: Options) -> Callable[[], Count]:
    looks = [_sexes(reader.object(name)) for name in ("before", "after", "taken")]
    return lambda: by_sexes(*looks, **options)


def _sexes(reader: Reader) -> SexCounts:
    sexes = SexCounts(reader.whole("males"), reader.whole("females"))
    reader.done()
    return sexes


_READERS: dict[str, Callable[[Reader, Options], Callable[[], Count]]] = {
    "eye": _eye,
    "hand": _hand,
    "full_sort": _full_sort,
    "portions": _portions,
    "piece": _piece,
    "index": _index,
    "weight": _weight,
    "marked": _marked,
    "removal": _removal,
    "after_sale": _after_sale,
    "by_sexes": _by_sexes,
}
