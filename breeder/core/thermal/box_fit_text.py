"""Write the sentences about a fitted box: reasons to doubt it, notes, and what would make it surer."""

from __future__ import annotations

from .ensemble_draws import LEAK_SD_LN

MOST_RESIDUAL_K = 0.5
MOST_HEAT = 3.0  # times the heat of the walls as drawn; more is something else in the box
LEAST_FACTOR = 0.8  # of the drawn conductance; with usual leaks one box in thirty is below it
FLOOR_WITH_AIR_SD_LN = 0.05  # least spread of ln conductance with a logger in the air, whatever the readings say


def vague_text(log_sd: float, *, has_air: bool) -> str:
    """Return why a result with this spread of ln conductance is useless, and what to do."""
    remedy = "Log another, colder day" if has_air else "Hang a second logger in the air"
    return f"The box would be known only to within {100 * log_sd:.0f} %. {remedy}."


def fit_doubts(rms_k: float, heat: float) -> tuple[str, ...]:
    """Return the reasons not to use a fit, from its rms misfit in K and the heat of the box relative to its walls."""
    doubts = []
    if rms_k > MOST_RESIDUAL_K:
        doubts.append(
            f"The model misses the loggers by {rms_k:.1f} K on average; under {MOST_RESIDUAL_K:g} K is good. "
            "Sun on the box or a moved logger does that."
        )
    if heat > MOST_HEAT:
        doubts.append(
            f"The box takes up {heat:.0f} times the heat that its walls do. Only the bottle may be in it: take out "
            "cups, packs and filling, and log another day."
        )
    return tuple(doubts)


def fit_notes(log_sd: float, factor: float, *, has_air: bool) -> tuple[str, ...]:
    """Return what to keep in mind, from the spread of ln conductance and the ratio to the drawn conductance."""
    notes = []
    if log_sd > LEAK_SD_LN and not has_air:
        notes.append(
            f"This run is good to {100 * log_sd:.0f} %, a drawing to {100 * LEAK_SD_LN:.0f} %: the film of air around "
            f"the bottle is assumed. A second logger in the air makes it about {100 * FLOOR_WITH_AIR_SD_LN:.0f} %."
        )
    if factor < LEAST_FACTOR:
        notes.append(
            f"That is {factor:.2f} times what is drawn, and boxes seldom let less through than drawn. Cups, packs or "
            "filling left in the box look just like that."
        )
    return tuple(notes)
