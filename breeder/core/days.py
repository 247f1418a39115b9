"""Write a day as text, with its year only when that is not the current year."""

from datetime import date


def day_text(on: date, *, this_year: int, weekday: bool = False, short: bool = False) -> str:
    """Return '6 March', 'Friday 6 March' or, short, 'Fri 6 Mar'; '6 March 2025' outside `this_year`."""
    name, month = ("%a", "%b") if short else ("%A", "%B")
    parts = [f"{on:{name}}"] if weekday else []
    parts += [str(on.day), f"{on:{month}}"]
    if on.year != this_year:
        parts.append(str(on.year))
    return " ".join(parts)
