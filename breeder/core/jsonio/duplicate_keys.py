"""From text to JSON objects that remember what the standard library forgets: keys that occur twice."""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Iterator
from typing import Any

from .errors import WHOLE_DOCUMENT, BadInput, Fault


class Fields(dict[str, Any]):
    """A JSON object that remembers which of its keys occurred more than once."""

    twice: tuple[str, ...] = ()


def load(text: str) -> Fields:
    """Return the JSON object in `text`, with repeated keys remembered for the reader that meets them.

    Raises BadInput when the text is not JSON or not an object at the top. NaN and Infinity pass here and are refused,
    with their path, by the reader that asks for the number.
    """
    try:
        document = json.loads(text, object_pairs_hook=_object)
    except RecursionError:
        raise BadInput([Fault(WHOLE_DOCUMENT, "It is nested too deeply to be read.")]) from None
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        raise BadInput([Fault(WHOLE_DOCUMENT, f"It is not JSON: {error.msg} at {place}.")]) from None
    except ValueError:  # Python refuses to turn thousands of digits into one number
        raise BadInput([Fault(WHOLE_DOCUMENT, "It holds a number with too many digits.")]) from None
    if not isinstance(document, Fields):
        raise BadInput([Fault(WHOLE_DOCUMENT, f"It must be an object with named fields, not {kind_of(document)}.")])
    return document


def _object(pairs: list[tuple[str, Any]]) -> Fields:
    fields = Fields(pairs)
    fields.twice = tuple(key for key, times in Counter(key for key, _ in pairs).items() if times > 1)
    return fields


def kind_of(value: object) -> str:
    """Return what a JSON value is, in plain words, for a sentence about it."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return "text"
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list | tuple):
        return "a list"
    return "a number"


def hidden_faults(value: object, path: str) -> Iterator[Fault]:
    """Yield repeated keys and numbers that are not finite, at any depth."""
    if isinstance(value, float) and not math.isfinite(value):
        yield Fault(path, "It must be a finite number.")
    elif isinstance(value, dict):
        for key in getattr(value, "twice", ()):
            yield Fault(f"{path}.{key}", "This field occurs more than once; keep one.")
        for key, inner in value.items():
            yield from hidden_faults(inner, f"{path}.{key}")
    elif isinstance(value, list | tuple):
        for place, inner in enumerate(value):
            yield from hidden_faults(inner, f"{path}[{place}]")
