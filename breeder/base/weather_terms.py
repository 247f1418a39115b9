"""What the settings say and ask about the weather service: terms, credit, contact, key."""

from collections.abc import Iterator, Mapping
from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit

from breeder.base.models import Setting

FORGET = "forget"

HELP = {
    "weather_service": (
        "None is asked until you choose. The US service is free for any purpose. MET Norway is free under CC BY 4.0 "
        "with credit, which stands beside its hours. Open-Meteo's free use excludes anybody who sells, so it is asked "
        "only with your own key or at your own server; its data are CC BY 4.0 with credit. Only places rounded to "
        "about a kilometre are sent."
    ),
    "weather_second": (
        "Stands in where the first does not answer or has no forecast. Where the two say different things, a box is "
        "tried with both and the worse decides. It is told the same rounded places."
    ),
    "weather_contact": (
        "A mail or web address, sent with every question to the US service and MET Norway: both want to know whom to "
        "write to when something is wrong."
    ),
    "weather_key": f"Leave it empty to keep the one that is stored; type '{FORGET}' to forget it.",
    "weather_url": "Leave it empty unless you run such a server yourself, such as http://192.168.1.20:8080.",
}


def key_after(kept: str, typed: str) -> str:
    """Return the key to store: what was typed, what was kept if nothing was, none if it is to be forgotten."""
    return "" if typed.strip().lower() == FORGET else typed.strip() or kept


def faults_of(given: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield the field and a sentence for everything that the chosen service still lacks."""
    service, contact = given.get("weather_service"), given.get("weather_contact") or ""
    second = given.get("weather_second")
    if second and not service:
        yield "weather_second", "Choose the first weather service before a second one, or leave the second empty."
    elif second and second == service:
        yield "weather_second", "This is the first service already. Choose another, or leave the second empty."
    if contact and not _is_contact(contact):
        yield "weather_contact", f"‘{contact}’ is neither a mail nor a web address in plain letters. Write one of them."
    elif {service, second} & {Setting.WeatherService.NWS, Setting.WeatherService.MET} and not contact:
        yield (
            "weather_contact",
            "This service wants to know whom to write to when something is wrong. Give a mail or web address.",
        )
    if service == Setting.WeatherService.OPEN_METEO and not (given.get("weather_key") or given.get("weather_url")):
        yield "weather_key", "Open-Meteo is asked only with your own key, or at your own server. Give one of the two."
    url = given.get("weather_url") or ""
    if url and urlsplit(url).scheme == "http" and not _is_at_home(urlsplit(url).hostname or ""):
        yield "weather_url", "An address outside your own network must begin with https://. Mend it."


def _is_contact(text: str) -> bool:
    plain = text.isascii() and text.isprintable() and not set(text) & set(' ()\\"')
    return plain and len(text) > 2 and ("@" in text or "." in text)


def _is_at_home(host: str) -> bool:
    try:
        return ip_address(host).is_private
    except ValueError:
        return "." not in host or host.endswith((".local", ".lan", ".home.arpa"))
