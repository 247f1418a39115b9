"""Answer the subject fit of ``manage.py reckon``: how leaky a box is, from loggers around a bottle or melted ice."""

from __future__ import annotations

from typing import Any

from breeder.core.jsonio import CONTRACT
from breeder.core.jsonio.document_reader import Reader

from . import ice_melt
from .box_fit import BoxFit, CannotFit, fit_box
from .kit import BadKit, ShippingBox
from .kit_document import COLDEST_C, WARMEST_C, read_box, read_hours

LEAST_LITRES, MOST_LITRES = 0.05, 10.0
MOST_W_K = 100.0


def fit(document: dict[str, Any]) -> dict[str, Any]:
    """Return the conductance of a box with its spread, or nulls and the reason. Raises BadInput with every fault."""
    reader = Reader(document)
    if reader.has("ice"):
        return _ice_answer(reader)
    box, litres = read_box(reader.object("box")), _litres(reader.object("bottle"))
    hours = read_hours(reader)
    columns = {name: _column(reader, name, len(hours)) for name in ("outside_c", "bottle_c")}
    air = _column(reader, "air_c", len(hours)) if reader.has("air_c") else None
    reader.finish()
    assert box is not None  # else there are faults, and finish has raised
    try:
        fitted = _fitted(reader, box, litres, hours, columns["outside_c"], columns["bottle_c"], air)
    except CannotFit as refusal:
        return _refusal_answer(refusal)
    return {
        "contract": CONTRACT,
        "conductance_w_k": fitted.conductance_w_k,
        "log_sd": fitted.log_sd,
        "usable": fitted.is_good,
        "film_w_k": fitted.film_w_k,
        "residual_rms_k": fitted.residual_rms_k,
        "notes": [*fitted.doubts, *fitted.notes],
    }


def _litres(reader: Reader) -> float:
    litres = reader.number("litres", low=LEAST_LITRES, high=MOST_LITRES)
    reader.done()
    return litres


def _column(reader: Reader, name: str, rows: int) -> list[float]:
    values = reader.series(name, least=1, low=COLDEST_C, high=WARMEST_C)
    if values and rows and len(values) != rows:
        reader.fault(name, f"It has {len(values)} values for {rows} hours; give one for each, null for a gap.")
    return values


def _fitted(
    reader: Reader, box: ShippingBox, litres: float, hours: list[float], *columns: list[float] | None
) -> BoxFit:
    outside, bottle, air = columns
    try:
        return fit_box(box, hours, outside, bottle, litres=litres, air_c=air)  # type: ignore[arg-type]
    except BadKit as refused:
        reader.fault("bottle", refused.sentence)
        reader.finish()
        raise


def _ice_answer(reader: Reader) -> dict[str, Any]:
    inner = reader.object("ice")
    melted, hours, outside = (inner.number(name, above=0.0) for name in ("melted_kg", "hours", "outside_c"))
    bag = inner.number("bag_w_k", above=0.0, high=MOST_W_K, default=ice_melt.BAG_W_K)
    inner.done()
    reader.finish()
    try:
        melted_box = ice_melt.melted_ice(melted, hours, outside, bag)
    except ice_melt.BagAlone as refusal:
        inner.fault("bag_w_k", str(refusal))
        reader.finish()
        raise
    except CannotFit as refusal:
        return _refusal_answer(refusal)
    return {
        "contract": CONTRACT,
        "conductance_w_k": melted_box.conductance_w_k,
        "log_sd": melted_box.log_sd,
        "usable": True,
        "notes": [],
    }


def _refusal_answer(refusal: CannotFit) -> dict[str, Any]:
    return {
        "contract": CONTRACT,
        "conductance_w_k": None,
        "log_sd": None,
        "usable": False,
        "notes": [str(refusal)],
    }
