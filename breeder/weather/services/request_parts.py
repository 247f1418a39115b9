"""How every service is asked: under which name, for which place, at which address."""

import re
from urllib.parse import urlsplit, urlunsplit

from breeder.weather.services.errors import NeedsKey

PROGRAM = "Underbark/0.1"
CONTACT = re.compile(r"[!#-'*-\[\]-~]{3,120}")  # visible ASCII without quotes, brackets and backslashes


def is_contact(text: str) -> bool:
    """Return whether a text may stand in the identification: a mail or web address, in plain letters."""
    return bool(CONTACT.fullmatch(text)) and ("@" in text or "." in text)


def identification(service: str, contact: str) -> str:
    """Return the name under which a service is asked. Raises NeedsKey without a contact, which both want."""
    if not is_contact(contact):
        raise NeedsKey(
            service,
            f"{service} wants to know whom to write to when something is wrong. Give a mail or web address as contact "
            "in the settings.",
        )
    return f"{PROGRAM} ({contact})"


def plain_degrees(value: float) -> str:
    """Return degrees with two digits and no zero at the end: more digits are refused, zeros are redirected."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("", "-0") else text


def rebased(url: str, home: str, official: str) -> str:
    """Return an address given by a service, at the keeper's own relay where one stands in for the official host."""
    if home == official:
        return url
    parts, own = urlsplit(url), urlsplit(home)
    return urlunsplit((own.scheme, own.netloc, own.path.rstrip("/") + parts.path, parts.query, ""))
