"""One letter per hour: the step of the source in hours, and whether the source also gave the extremes around it.

A digit is a step ('1', '3', '6'); the letter at that place in the alphabet ('a', 'c', 'f') is the same step between
given extremes; '-' is a missing hour.
"""

from breeder.weather.services.types import MISSING_MARK

FIRST_LETTER = ord("a")
LONGEST_STEP_H = 9  # one digit


def hour_flag(step_h: int, *, anchored: bool) -> str:
    """Return the letter of an hour. Raises ValueError for a step without a letter."""
    if not 1 <= step_h <= LONGEST_STEP_H:
        raise ValueError(f"A step lasts 1 to {LONGEST_STEP_H} hours, not {step_h}.")
    return chr(FIRST_LETTER + step_h - 1) if anchored else str(step_h)


def flag_step_h(letter: str) -> int:
    """Return the step in hours; 1 for a missing hour or if the source does not say."""
    if is_anchored(letter):
        return ord(letter) - FIRST_LETTER + 1
    return int(letter) if letter.isdecimal() and letter != "0" else 1


def is_anchored(letter: str) -> bool:
    """Return whether the source gave the extremes around this hour."""
    return letter != MISSING_MARK and FIRST_LETTER <= ord(letter[:1] or MISSING_MARK) < FIRST_LETTER + LONGEST_STEP_H
