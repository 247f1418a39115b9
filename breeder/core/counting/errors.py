"""Refusals of impossible counts: a sentence with the field, the value and what to do."""

from __future__ import annotations

import math


class BadCount(ValueError):
    """An impossible count; `faults` holds every (field, sentence), `field` and `sentence` are the first."""

    def __init__(self, field: str, sentence: str, *more: tuple[str, str]) -> None:
        self.field = field
        self.sentence = sentence
        self.faults = ((field, sentence), *more)
        super().__init__(" ".join(words for _, words in self.faults))


class CountChecks:
    """Collects everything that is wrong with a count, so that one error can name it all."""

    def __init__(self) -> None:
        self.faults: list[tuple[str, str]] = []

    def fault(self, field: str, sentence: str) -> None:
        """Note one fault."""
        self.faults.append((field, sentence))

    def number(
        self,
        field: str,
        value: float,
        *,
        least: float | None = None,
        above: float | None = None,
        most: float | None = None,
        below: float | None = None,
        remedy: str = "Type it again.",
    ) -> None:
        """Note a number that is not finite or lies outside [least, most], or not strictly between above and below."""
        if not math.isfinite(value):
            self.fault(field, f"The value of “{field}” is not a number. {remedy}")
        elif least is not None and value < least:
            self.fault(field, f"The value of “{field}” is {value:.10g}, but it must be at least {least:.10g}. {remedy}")
        elif above is not None and value <= above:
            self.fault(field, f"The value of “{field}” is {value:.10g}, but it must be more than {above:g}. {remedy}")
        elif most is not None and value > most:
            self.fault(field, f"The value of “{field}” is {value:.10g}, but it must be at most {most:.10g}. {remedy}")
        elif below is not None and value >= below:
            self.fault(field, f"The value of “{field}” is {value:.10g}, but it must be less than {below:g}. {remedy}")

    def animals(self, field: str, value: float, *, least: int = 0, remedy: str = "Type it again.") -> None:
        """Note a number of animals that is not whole, is below `least`, or is more than any tub holds."""
        if math.isfinite(value) and value != int(value):
            self.fault(field, f"The value of “{field}” is {value:.10g}, but animals come whole. {remedy}")
        else:
            self.number(field, value, least=least, most=MOST_ANIMALS, remedy=remedy)

    def measure(self, field: str, value: float, *, remedy: str) -> None:
        """Note an impossible weight or volume."""
        self.number(field, value, least=LEAST_MEASURE, most=MOST_MEASURE, remedy=remedy)

    def spread(self, confidence: float, shared_sd: float) -> None:
        """Check the two values that every method takes."""
        self.number("confidence", confidence, least=0.5, most=MOST_CONFIDENCE, remedy="Give a share such as 0.95.")
        self.number("shared_sd", shared_sd, least=0, most=MOST_SHARED_SD, remedy="Give a log-scale error such as 0.1.")

    def done(self) -> None:
        """Raise BadCount if anything was noted."""
        if self.faults:
            (field, sentence), *more = self.faults
            raise BadCount(field, sentence, *more)


MOST_ANIMALS = 10**6  # in one tub; more is a typing slip
MOST_CONFIDENCE = 0.999  # beyond this a count of a few portions says nothing
LEAST_MEASURE, MOST_MEASURE = 1e-6, 1e9  # of a weight or volume in any unit; outside is a typing slip
MOST_SHARED_SD = 3.0  # a factor of 20 either way; more is a typing slip, not a counting error
