"""The subject `count`: one count from a JSON document, with every fault named at once."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from breeder.core.counting.methods import mark_recapture
from breeder.core.counting.methods.change_in_ratio import Sexes, by_sexes
from breeder.core.counting.methods.count import Count, working
from breeder.core.counting.methods.direct import after_sale, full_sort, hand, weight
from breeder.core.counting.methods.removal import removal
from breeder.core.counting.methods.subsample import Layer, layers
from breeder.core.counting.methods.visual import eye, index, piece
from breeder.core.jsonio import CONTRACT
from breeder.core.jsonio.document_reader import Reader

from .defaults import CONFIDENCE
from .errors import BadCount, Checks

Own = dict[str, Any]  # confidence and shared_sd, as every method takes them


def count(document: dict[str, Any]) -> dict[str, Any]:
    """Return estimate, standard error, one-sided lower bound, two-sided interval, method and notes of one count.

    Raises BadInput with every fault of the document.
    """
    reader = Reader(document)
    found = read_count(reader)
    reader.finish()
    assert found is not None  # finish() has raised where nothing could be counted
    return {
        "contract": CONTRACT,
        "method": found.method,
        "estimate": found.estimate,
        "standard_error": found.standard_error,
        "lower": found.lower,
        "interval": None if found.interval is None else list(found.interval),
        "log_sd": found.log_sd,
        "confidence": found.confidence,
        "shared_sd": found.shared_sd,
        "notes": list(found.notes),
        "working": list(working(found)),
    }


def read_count(reader: Reader) -> Count | None:
    """Return the count that an object describes, or None after noting what is wrong with it."""
    before = len(reader.faults)
    method = reader.choice("method", tuple(_READERS))
    own = {
        "confidence": reader.number("confidence", default=CONFIDENCE),
        "shared_sd": reader.number("shared_sd", default=0.0),
    }
    if method not in _READERS:
        reader.names()  # which fields belong is not known without a method, so none of them is wrong
        return None
    counting = _READERS[method](reader, own)
    unread = len(reader.faults) > before
    reader.done()
    found = None
    try:
        # What could be read is judged although a field is too many or unreadable, so that every fault is named at once.
        found = _spread_only(own) if unread else counting()
    except BadCount as bad:
        for field, sentence in bad.faults:
            reader.fault_at(f"{reader.path}.{field}" if reader.path else field, sentence)
    return found if len(reader.faults) == before else None


def _spread_only(own: Own) -> None:
    """Judge confidence and shared error alone, where the count itself cannot be read. Raises BadCount."""
    checks = Checks()
    read = {"confidence": CONFIDENCE, "shared_sd": 0.0} | {name: v for name, v in own.items() if math.isfinite(v)}
    checks.spread(read["confidence"], read["shared_sd"])
    checks.done()


def _eye(reader: Reader, own: Own) -> Callable[[], Count]:
    low, high = reader.whole("from"), reader.whole("to")
    return lambda: eye(low, high, **own)


def _hand(reader: Reader, own: Own) -> Callable[[], Count]:
    counted, missed = reader.whole("counted"), reader.number("missed_share", default=0.0)
    return lambda: hand(counted, missed, **own)


def _full_sort(reader: Reader, own: Own) -> Callable[[], Count]:
    counted, missed = reader.whole("counted"), reader.number("missed_share", default=0.0)
    return lambda: full_sort(counted, missed, **own)


def _portions(reader: Reader, own: Own) -> Callable[[], Count]:
    visible, whole_cv = reader.whole("visible", default=0), reader.number("whole_cv", default=0.0)
    if reader.has("strata"):
        parts = [_layer(part) for part in reader.objects("strata", least=1)]
    else:
        parts = [_layer(reader, ends=False)]
    return lambda: layers(parts, visible=visible, whole_cv=whole_cv, **own)


def _layer(reader: Reader, ends: bool = True) -> Layer:
    layer = Layer(reader.wholes("counts"), reader.numbers("sizes"), reader.number("whole"))
    if ends:
        reader.done()
    return layer


def _piece(reader: Reader, own: Own) -> Callable[[], Count]:
    seen, factor = reader.whole("seen"), reader.number("factor")
    return lambda: piece(seen, factor, **own)


def _index(reader: Reader, own: Own) -> Callable[[], Count]:
    seen, trial_seen, trial_known = (reader.whole(name) for name in ("seen", "trial_seen", "trial_known"))
    return lambda: index(seen, trial_seen, trial_known, **own)


def _weight(reader: Reader, own: Own) -> Callable[[], Count]:
    number, sample_g, whole_g = reader.whole("sample_count"), reader.number("sample_g"), reader.number("whole_g")
    return lambda: weight(number, sample_g, whole_g, **own)


def _marked(reader: Reader, own: Own) -> Callable[[], Count]:
    marked, caught, again = (reader.whole(name) for name in ("marked", "caught", "marked_caught"))
    return lambda: mark_recapture.marked(marked, caught, again, **own)


def _removal(reader: Reader, own: Own) -> Callable[[], Count]:
    catches = reader.wholes("catches")
    return lambda: removal(catches, **own)


def _after_sale(reader: Reader, own: Own) -> Callable[[], Count]:
    before, later, removed = reader.number("index_before"), reader.number("index_after"), reader.whole("removed")
    return lambda: after_sale(before, later, removed, **own)


def _by_sexes(reader: Reader, own: Own) -> Callable[[], Count]:
    looks = [_sexes(reader.object(name)) for name in ("before", "after", "taken")]
    return lambda: by_sexes(*looks, **own)


def _sexes(reader: Reader) -> Sexes:
    found = Sexes(reader.whole("males"), reader.whole("females"))
    reader.done()
    return found


_READERS: dict[str, Callable[[Reader, Own], Callable[[], Count]]] = {
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
