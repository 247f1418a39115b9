"""Parse JSON text into objects that remember repeated keys, which the standard library drops."""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Iterator
from typing import Any

from .errors import WHOLE_DOCUMENT, BadInput, DocumentFault


class Fields(dict[str, Any]):
    """A JSON object; `twice` holds the keys that occur more than once."""

    twice: tuple[str, ...] = ()


def load(text: str) -> Fields:
    """Return the JSON object in `text`, with its repeated keys remembered for the reader.

    Raises BadInput when the text is not JSON or its top level is not an object. NaN and Infinity pass here; the reader
    that reads the number refuses them with their path.
    """
    try:
        document = json.loads(text, object_pairs_hook=_object)
    except RecursionError:
        raise BadInput([DocumentFault(WHOLE_DOCUMENT, "It is nested too deeply to be read.")]) from None
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        raise BadInput([DocumentFault(WHOLE_DOCUMENT, f"It is not JSON: {error.msg} at {place}.")]) from None
    except ValueError:  # Python refuses to turn thousands of digits into one number
        raise BadInput([DocumentFault(WHOLE_DOCUMENT, "It holds a number with too many digits.")]) from None
    if not isinstance(document, Fields):
        raise BadInput(
            [DocumentFault(WHOLE_DOCUMENT, f"It must be an object with named fields, not {json_type_text(document)}.")]
        )
    return document


def _object(pairs: list[tuple[str, Any]]) -> Fields:
    fields = Fields(pairs)
    fields.twice = tuple(key for key, times in Counter(key for key, _ in pairs).items() if times > 1)
    return fields


def json_type_text(value: object) -> str:
    """Return the type of a JSON value in plain words, for a sentence about it."""
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


def hidden_faults(value: object, path: str) -> Iterator[DocumentFault]:
    """Yield a fault for each repeated key and each number that is not finite, at any depth."""
    if isinstance(value, float) and not math.isfinite(value):
        yield DocumentFault(path, "It must be a finite number.")
    elif isinstance(value, dict):
        for key in getattr(value, "twice", ()):
            yield DocumentFault(f"{path}.{key}", "This field occurs more than once; keep one.")
        for key, inner in value.items():
            yield from hidden_faults(inner, f"{path}.{key}")
    elif isinstance(value, list | tuple):
        for place, inner in enumerate(value):
            yield from hidden_faults(inner, f"{path}[{place}]")
