"""Numbers with the right singular or plural word."""

SINGULARS = {
    "adults": "adult",
    "young": "young",
    "cups": "cup",
    "males": "male",
    "females": "female",
    "animals": "animal",
    "breeders": "breeder",
    "pairs": "pair",
    "portions": "portion",
    "tubs": "tub",
}


def number_text(number: int, plural: str) -> str:
    """Return '1 adult', '12 adults', '0 adults'."""
    return f"{number} {SINGULARS.get(plural, plural) if number == 1 else plural}"


def is_or_are(number: int) -> str:
    """Return 'is' for 1, else 'are'."""
    return "is" if number == 1 else "are"
