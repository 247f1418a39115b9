"""Parts of every request: the caller's name, the coordinates and the URL."""

import re
from urllib.parse import urlsplit, urlunsplit

from breeder.weather.services.errors import NeedsKey

PROGRAM = "Underbark/0.1"
CONTACT = re.compile(r"[!#-'*-\[\]-~]{3,120}")  # visible ASCII without quotes, brackets and backslashes


def is_contact(text: str) -> bool:
    """Return whether a text may be the contact: a mail or web address in plain ASCII."""
    return bool(CONTACT.fullmatch(text)) and ("@" in text or "." in text)


def identification(service: str, contact: str) -> str:
    """Return the User-Agent of requests. Raises NeedsKey without a contact, which both keyless services want."""
    if not is_contact(contact):
        raise NeedsKey(
            service,
            f"{service} wants to know whom to write to when something is wrong. Give a mail or web address as contact "
            "in the settings.",
        )
    return f"{PROGRAM} ({contact})"


def plain_degrees(value: float) -> str:
    """Return degrees with at most two decimals: services refuse more and redirect trailing zeros."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("", "-0") else text


def rebased(url: str, home: str, official: str) -> str:
    """Return a URL given by a service, moved to the keeper's own relay if there is one."""
    if home == official:
        return url
    parts, relay = urlsplit(url), urlsplit(home)
    return urlunsplit((relay.scheme, relay.netloc, relay.path.rstrip("/") + parts.path, parts.query, ""))
