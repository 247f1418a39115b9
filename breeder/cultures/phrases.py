"""Sentences about tubs and animals, in the keeper's words."""

from collections.abc import Iterable

from breeder.core.counting.plurals import SINGULARS


def animals(number: int, stage: str, *, only: bool = False) -> str:
    """Return '1 adult', '12 young', 'no cups'; with `only` as the start of a sentence: 'Only 12 young', 'No young'."""
    if number == 0:
        return f"No {stage}" if only else f"no {stage}"
    said = f"{number} {SINGULARS.get(stage, stage) if abs(number) == 1 else stage}"
    return f"Only {said}" if only else said


def none_or(number: int) -> str:
    """Return the number, or 'none'."""
    return str(number) if number else "none"


def named_tubs(numbers: Iterable[int]) -> str:
    """Return 'tub 4', 'tubs 4 and 9', 'tubs 4, 9 and 12'."""
    told = [str(number) for number in numbers]
    if len(told) == 1:
        return f"tub {told[0]}"
    return f"tubs {', '.join(told[:-1])} and {told[-1]}"
