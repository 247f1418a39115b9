"""Measure a kit from a logger file, or from the weight of melted ice, as a factor on its drawn conductance."""

from dataclasses import dataclass

from django.core import signing

from breeder.base.temperature_chart import BoxCurve
from breeder.core.thermal import box, box_fit, ice_melt
from breeder.core.thermal.kit import ShippingBox
from breeder.shipments.kit_tests import COMFORT_C, HARD_C
from breeder.shipments.logger_csv import LoggerRun
from breeder.shipments.models import Kit
from breeder.shipments.thermal_kit import kit_box

LEAST_FACTOR, MOST_FACTOR = 0.2, 10.0  # the range that the core's Box accepts
SALT = "measured kit, film of the bottle known"  # differs from the old fit's salt, whose pages may still be open
GOOD_FOR_S = 3600


@dataclass(frozen=True)
class Measured:
    """The result of a measurement: conductance, its spread, the drawn conductance, and sentences."""

    conductance_w_k: float
    sd_ln: float
    drawn_w_k: float
    word: str
    doubts: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    curve: BoxCurve | None = None

    @property
    def factor(self) -> float:
        return self.conductance_w_k / self.drawn_w_k

    @property
    def error_w_k(self) -> float:
        return self.conductance_w_k * self.sd_ln

    def signed(self, kit: Kit) -> str:
        """Return the figures for the page to send back, so that only measured ones are kept."""
        return signing.dumps([kit.pk, self.factor, self.sd_ln], salt=SALT)


def by_logger(kit: Kit, logged: LoggerRun, *, litres: float) -> Measured:
    """Measure a kit by a run with a bottle of water. Raises the core's CannotFit or BadKit with the reason."""
    fit = box_fit.fit_box(
        drawn_box(kit), logged.hours, logged.outside_c, logged.bottle_c, litres=litres, air_c=logged.air_c
    )
    figures = fit.conductance_w_k, fit.log_sd, drawn_w_k(kit)
    return _believable(Measured(*figures, _word(fit), fit.doubts, fit.notes, _curve(fit)))


def _word(fit: box_fit.BoxFit) -> str:
    if not fit.is_good:
        return "The run is doubtful; log another day before you use it."
    return "The run can be used, with this in mind:" if fit.notes else "The run was good enough to use."


def by_ice(
    kit: Kit, *, melted_kg: float, hours: float, outside_c: float, bag_w_k: float = ice_melt.BAG_W_K
) -> Measured:
    """Measure a kit by melted ice. Raises the core's CannotFit with the reason."""
    melt = ice_melt.melted_ice(melted_kg, hours, outside_c, bag_w_k)
    word = f"Weigh twice if you can: one weighing is good to about {100 * melt.log_sd:.0f} %."
    return _believable(Measured(melt.conductance_w_k, melt.log_sd, drawn_w_k(kit), word))


def _believable(measured: Measured) -> Measured:
    """Return the measurement if a kit can hold it. Raises the core's CannotFit for a factor out of range."""
    if not LEAST_FACTOR <= measured.factor <= MOST_FACTOR:
        raise box_fit.CannotFit(
            f"That would let {measured.factor:.3g} times as much through as drawn, and {LEAST_FACTOR:g} to "
            f"{MOST_FACTOR:g} times can be. Look at what you typed and its units, or at the kit's sizes and layers."
        )
    return measured


def drawn_box(kit: Kit) -> ShippingBox:
    """Return the kit's box as drawn, ignoring earlier measurements."""
    return kit_box(Kit(inner_m=kit.inner_m, layers=kit.layers, air_changes_h=kit.air_changes_h, leak_factor=1.0))


def drawn_w_k(kit: Kit) -> float:
    """Return the conductance that the kit's drawing alone gives, W/K."""
    return box.conductance_w_k(drawn_box(kit))


def from_signed(kit: Kit, text: str) -> tuple[float, float] | None:
    """Return factor and spread if this site measured them for this kit within the hour; else None."""
    try:
        pk, factor, sd_ln = signing.loads(text, salt=SALT, max_age=GOOD_FOR_S)
    except signing.BadSignature:
        return None
    return (factor, sd_ln) if pk == kit.pk else None


def _curve(fit: box_fit.BoxFit) -> BoxCurve:
    """Return the run as a chart: the bottle's model, its logger as the edge of the band, the weather outside."""
    rows = range(0, len(fit.hours), 12)
    model = [float(fit.modelled_c[row]) for row in rows]
    logger = [float(fit.logged_c[row]) for row in rows]
    return BoxCurve(
        times=None,
        middle=tuple(model),
        low=tuple(min(pair) for pair in zip(model, logger, strict=True)),
        high=tuple(max(pair) for pair in zip(model, logger, strict=True)),
        outside=tuple(float(fit.outside_c[row]) for row in rows),
        comfort=COMFORT_C,
        hard=HARD_C,
        name="measured",
    )
