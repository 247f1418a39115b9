"""Names of countries as people write them under an address, with their ISO 3166-1 code."""

NAMES: dict[str, str] = {
    "united states": "US", "united states of america": "US", "usa": "US", "us": "US", "u.s.a.": "US", "u.s.": "US",
    "canada": "CA", "mexico": "MX",
    "united kingdom": "GB", "uk": "GB", "great britain": "GB", "england": "GB", "scotland": "GB", "wales": "GB",
    "northern ireland": "GB", "ireland": "IE",
    "germany": "DE", "deutschland": "DE", "austria": "AT", "österreich": "AT", "switzerland": "CH", "schweiz": "CH",
    "suisse": "CH", "france": "FR", "belgium": "BE", "belgië": "BE", "belgique": "BE", "netherlands": "NL",
    "the netherlands": "NL", "nederland": "NL", "luxembourg": "LU", "spain": "ES", "españa": "ES", "portugal": "PT",
    "italy": "IT", "italia": "IT", "poland": "PL", "polska": "PL", "czechia": "CZ", "czech republic": "CZ",
    "česko": "CZ", "slovakia": "SK", "hungary": "HU", "magyarország": "HU", "slovenia": "SI", "croatia": "HR",
    "denmark": "DK", "danmark": "DK", "sweden": "SE", "sverige": "SE", "norway": "NO", "norge": "NO",
    "iceland": "IS", "ísland": "IS",
    "finland": "FI", "suomi": "FI", "estonia": "EE", "latvia": "LV", "lithuania": "LT", "greece": "GR",
    "romania": "RO", "bulgaria": "BG", "australia": "AU", "new zealand": "NZ", "japan": "JP", "south korea": "KR",
    "taiwan": "TW", "singapore": "SG", "thailand": "TH", "brazil": "BR", "brasil": "BR", "south africa": "ZA",
}  # fmt: skip

CODES = frozenset(NAMES.values())


def code_of(words: str) -> str:
    """Return the ISO code of a country as written, or an empty text."""
    plain = " ".join(words.lower().strip(" .,").split())
    return NAMES.get(plain) or NAMES.get(f"{plain}.") or (words.strip() if words.strip() in CODES else "")
