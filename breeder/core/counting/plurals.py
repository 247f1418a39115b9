"""Numbers of animals in words: one is one."""

ONE = {
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


def many(number: int, plural: str) -> str:
    """Return '1 adult', '12 adults', '0 adults'."""
    return f"{number} {ONE.get(plural, plural) if number == 1 else plural}"


def are(number: int) -> str:
    """Return 'is' for one, else 'are'."""
    return "is" if number == 1 else "are"
