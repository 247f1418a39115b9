"""List countries and their states by ISO 3166: their codes, their names, and which contains which.

Codes follow ISO 3166-1 alpha-2 and, for the United States, Canada and Australia, ISO 3166-2. Codes of other
subdivisions are accepted by their form. Tests compare the lists with the package `holidays`.
"""

import re

ANYWHERE = ""

_CODES = """
    AD AE AF AG AI AL AM AO AQ AR AS AT AU AW AX AZ BA BB BD BE BF BG BH BI BJ BL BM BN BO BQ BR BS BT BV BW BY BZ CA
    CC CD CF CG CH CI CK CL CM CN CO CR CU CV CW CX CY CZ DE DJ DK DM DO DZ EC EE EG EH ER ES ET FI FJ FK FM FO FR GA
    GB GD GE GF GG GH GI GL GM GN GP GQ GR GS GT GU GW GY HK HM HN HR HT HU ID IE IL IM IN IO IQ IR IS IT JE JM JO JP
    KE KG KH KI KM KN KP KR KW KY KZ LA LB LC LI LK LR LS LT LU LV LY MA MC MD ME MF MG MH MK ML MM MN MO MP MQ MR MS
    MT MU MV MW MX MY MZ NA NC NE NF NG NI NL NO NP NR NU NZ OM PA PE PF PG PH PK PL PM PN PR PS PT PW PY QA RE RO RS
    RU RW SA SB SC SD SE SG SH SI SJ SK SL SM SN SO SR SS ST SV SX SY SZ TC TD TF TG TH TJ TK TL TM TN TO TR TT TV TW
    TZ UA UG UM US UY UZ VA VC VE VG VI VN VU WF WS YE YT ZA ZM ZW
"""
COUNTRIES = frozenset(_CODES.split())

# English short names of countries that occur in addresses; other countries are shown by their code.
COUNTRY_NAMES = {
    "US": "the United States", "CA": "Canada", "MX": "Mexico", "GB": "the United Kingdom", "IE": "Ireland",
    "DE": "Germany", "AT": "Austria", "CH": "Switzerland", "FR": "France", "BE": "Belgium", "NL": "the Netherlands",
    "LU": "Luxembourg", "ES": "Spain", "PT": "Portugal", "IT": "Italy", "PL": "Poland", "CZ": "Czechia",
    "SK": "Slovakia", "HU": "Hungary", "SI": "Slovenia", "HR": "Croatia", "DK": "Denmark", "SE": "Sweden",
    "NO": "Norway", "IS": "Iceland", "FI": "Finland", "EE": "Estonia", "LV": "Latvia", "LT": "Lithuania",
    "GR": "Greece", "RO": "Romania", "BG": "Bulgaria", "AU": "Australia", "NZ": "New Zealand", "JP": "Japan",
    "KR": "South Korea", "TW": "Taiwan", "SG": "Singapore", "TH": "Thailand", "BR": "Brazil", "ZA": "South Africa",
}  # fmt: skip

US_STATES = {
    "AL": "Alabama", "AK": "Alaska", "AZ": "Arizona", "AR": "Arkansas", "CA": "California", "CO": "Colorado",
    "CT": "Connecticut", "DE": "Delaware", "FL": "Florida", "GA": "Georgia", "HI": "Hawaii", "ID": "Idaho",
    "IL": "Illinois", "IN": "Indiana", "IA": "Iowa", "KS": "Kansas", "KY": "Kentucky", "LA": "Louisiana",
    "ME": "Maine", "MD": "Maryland", "MA": "Massachusetts", "MI": "Michigan", "MN": "Minnesota", "MS": "Mississippi",
    "MO": "Missouri", "MT": "Montana", "NE": "Nebraska", "NV": "Nevada", "NH": "New Hampshire", "NJ": "New Jersey",
    "NM": "New Mexico", "NY": "New York", "NC": "North Carolina", "ND": "North Dakota", "OH": "Ohio",
    "OK": "Oklahoma", "OR": "Oregon", "PA": "Pennsylvania", "RI": "Rhode Island", "SC": "South Carolina",
    "SD": "South Dakota", "TN": "Tennessee", "TX": "Texas", "UT": "Utah", "VT": "Vermont", "VA": "Virginia",
    "WA": "Washington", "WV": "West Virginia", "WI": "Wisconsin", "WY": "Wyoming", "DC": "District of Columbia",
    "AS": "American Samoa", "GU": "Guam", "MP": "Northern Mariana Islands", "PR": "Puerto Rico",
    "UM": "US Minor Outlying Islands", "VI": "US Virgin Islands",
}  # fmt: skip
CA_PROVINCES = {
    "AB": "Alberta", "BC": "British Columbia", "MB": "Manitoba", "NB": "New Brunswick",
    "NL": "Newfoundland and Labrador", "NS": "Nova Scotia", "NT": "Northwest Territories", "NU": "Nunavut",
    "ON": "Ontario", "PE": "Prince Edward Island", "QC": "Quebec", "SK": "Saskatchewan", "YT": "Yukon",
}  # fmt: skip
AU_STATES = {
    "ACT": "Australian Capital Territory", "NSW": "New South Wales", "NT": "Northern Territory", "QLD": "Queensland",
    "SA": "South Australia", "TAS": "Tasmania", "VIC": "Victoria", "WA": "Western Australia",
}  # fmt: skip
SUBDIVISIONS = {"US": US_STATES, "CA": CA_PROVINCES, "AU": AU_STATES}

# Other names that people write under an address: short forms, parts of a country, names in the country's language.
OTHER_COUNTRY_NAMES = {
    "united states of america": "US", "usa": "US", "us": "US", "u.s.a": "US", "u.s": "US",
    "uk": "GB", "great britain": "GB", "england": "GB", "scotland": "GB", "wales": "GB", "northern ireland": "GB",
    "deutschland": "DE", "österreich": "AT", "schweiz": "CH", "suisse": "CH", "belgië": "BE", "belgique": "BE",
    "nederland": "NL", "españa": "ES", "italia": "IT", "polska": "PL", "czech republic": "CZ", "česko": "CZ",
    "magyarország": "HU", "danmark": "DK", "sverige": "SE", "norge": "NO", "ísland": "IS", "suomi": "FI",
    "brasil": "BR",
}  # fmt: skip

# These have one code as countries and another as parts of the United States; addresses use the second.
US_BY_ITS_OWN_CODE = ("AS", "GU", "MP", "PR", "UM", "VI")
# The US post counts these as states, ISO 3166 as countries.
POST_ONLY = {"US-FM": "FM", "US-MH": "MH", "US-PW": "PW"}
# Addresses of the armed forces (AA, AE, AP) belong to the US post but to no state.
ARMED_FORCES = ("US-AA", "US-AE", "US-AP")
# Codes in the town's line of a US address (USPS Publication 28, appendix B); no mail goes to the outlying islands.
US_POST_CODES = frozenset(US_STATES) - {"UM"} | {code.removeprefix("US-") for code in (*POST_ONLY, *ARMED_FORCES)}

_COUNTRY_BY_NAME = {name.removeprefix("the ").casefold(): code for code, name in COUNTRY_NAMES.items()}
# Names that a keeper may type instead of a code; Georgia is both a state and a country, so it needs the code.
_BY_NAME = _COUNTRY_BY_NAME | {
    name.casefold(): f"{country}-{code}"
    for country, parts in SUBDIVISIONS.items()
    for code, name in parts.items()
    if name != "Georgia"
}

NAMED = re.compile(r".*\(([A-Za-z-]{2,6})\)")
SHAPE = re.compile(r"[A-Z]{2}(-[A-Z0-9]{1,3})?")


def read_country(written: str) -> str:
    """Return the ISO 3166-1 code of a country as written under an address: 'USA' gives 'US'; empty if it is none.

    Codes count only in capitals and only for the countries of COUNTRY_NAMES: 'in' or 'MA' may be the end of a town.
    """
    name = " ".join(written.casefold().strip(" .,").split()).removeprefix("the ")
    code = written.strip()
    return _COUNTRY_BY_NAME.get(name) or OTHER_COUNTRY_NAMES.get(name) or (code if code in COUNTRY_NAMES else "")


def region_code(typed: str) -> str:
    """Return the code for typed text: 'pr' gives 'US-PR'; 'New York' and 'New York (US-NY)' give 'US-NY'."""
    words = " ".join(typed.split())
    named = NAMED.fullmatch(words)
    if by_name := _BY_NAME.get(words.casefold()):
        return by_name
    code = (named[1] if named else words).upper()
    if code in US_BY_ITS_OWN_CODE:
        return f"US-{code}"
    return POST_ONLY.get(code, code)


def code_fault(code: str) -> str:
    """Return what is wrong with a code and what to do; empty if nothing is wrong."""
    remedy = "Write a country such as US or DE, or a state such as US-FL or CA-ON; empty for anywhere."
    if not code:
        return ""
    country, _, part = code.partition("-")
    if not SHAPE.fullmatch(code) or country not in COUNTRIES:
        return f"‘{code}’ is no country or state by ISO 3166. {remedy}"
    if part and country in SUBDIVISIONS and part not in SUBDIVISIONS[country] and code not in ARMED_FORCES:
        return f"‘{part}’ is no part of {region_name(country)} by ISO 3166-2. {remedy}"
    return ""


def address_region(country: str, region: str) -> str:
    """Return the code of an address's state, else of its country, else an empty text."""
    codes = (region_code(region), region_code(country))
    return next((code for code in codes if code and not code_fault(code)), "")


def country_part(code: str) -> str:
    """Return the country of a code."""
    return code.partition("-")[0]


def is_state(code: str) -> bool:
    """Return whether a code is that of a part of a country."""
    return "-" in code


def covers(wider: str, code: str) -> bool:
    """Return whether a region contains another: anywhere contains all, a country its states, each itself."""
    return wider in (ANYWHERE, code) or (not is_state(wider) and country_part(code) == wider)


def depth(code: str) -> int:
    """Return how narrow a region is: 0 anywhere, 1 a country, 2 a state."""
    return 0 if not code else 2 if is_state(code) else 1


def region_name(code: str) -> str:
    """Return 'Hawaii (US-HI)', 'Germany (DE)', 'anywhere'."""
    if not code:
        return "anywhere"
    country, _, part = code.partition("-")
    name = SUBDIVISIONS.get(country, {}).get(part, "") if part else COUNTRY_NAMES.get(country, "")
    return f"{name} ({code})" if name else code
