"""Lines that are frozen: nothing leaves them for people, or for good, unless the line's name is typed."""

from collections.abc import Iterable

from django.core.exceptions import ValidationError

from breeder.core.counting.plurals import is_or_are, number_text
from breeder.cultures.line_stock import LineStock
from breeder.species.models import Line

# Phones type straight quotes; the book prints a form's name in curly ones.
CURLY = str.maketrans({"‘": "'", "’": "'"})


class NameTheLine(ValidationError):
    """Something would leave a frozen line, and its name was not typed."""


def is_named(line: Line, typed: Iterable[str]) -> bool:
    """Return whether one of the typed texts is the line's name: exactly, but for spaces around it."""
    name = str(line).translate(CURLY)
    return any(text.strip().translate(CURLY) == name for text in typed)


def require_named(lines: Iterable[Line], typed: Iterable[str], what: str, *, field: str = "named") -> None:
    """Raise NameTheLine for every frozen line whose name was not typed; `what` is meant, as in 'to cull from'.

    The refusal names the form's `field`; without one it belongs to the whole form.
    """
    given = [text for text in typed if text.strip()]
    refusals = [_refusal(line, given, what) for line in lines if line.frozen_because and not is_named(line, given)]
    if refusals:
        raise NameTheLine({field: refusals} if field else refusals)


def _refusal(line: Line, given: list[str], what: str) -> ValidationError:
    typed = f" “{given[0].strip()[:60]}” is not its name." if len(given) == 1 else ""
    return ValidationError(
        f"{line} is frozen ({line.frozen_because.rstrip('.')}).{typed} {what[:1].upper()}{what[1:]} it, type its name "
        f"exactly: {line}",
        code="frozen",
    )


def should_freeze(stock: LineStock) -> str:
    """Return why a line that cannot be bought again should be frozen now; empty when it need not be."""
    adults = stock.stages.get("adults")
    if (
        not stock.irreplaceable
        or stock.frozen_because
        or adults is None
        or adults.counted_on is None
        or adults.is_stale
    ):
        return ""
    if adults.lower > adults.kept_back:
        return ""
    sure = f"{number_text(adults.lower, 'adults')} {is_or_are(adults.lower)} sure"
    return (
        f"This line cannot be bought again and is down to its minimum: {sure}, "
        f"{adults.kept_back} must stay. Freeze it, and nothing leaves it by a slip of the finger."
    )
