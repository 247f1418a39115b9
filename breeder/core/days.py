"""How a day is written: with its year where that is another one than the reader's."""

from datetime import date


def day_text(on: date, *, this_year: int, weekday: bool = False, short: bool = False) -> str:
    """Return '6 March', 'Friday 6 March' or, short, 'Fri 6 Mar'; '6 March 2025' outside of `this_year`."""
    name, month = ("%a", "%b") if short else ("%A", "%B")
    parts = [f"{on:{name}}"] if weekday else []
    parts += [str(on.day), f"{on:{month}}"]
    if on.year != this_year:
        parts.append(str(on.year))
    return " ".join(parts)
