"""Where a log-in comes from, so that failures are counted for the one who makes them."""

from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network

from django.conf import settings
from django.http import HttpRequest

HOUSEHOLD_BITS = 64  # of an IPv6 address; the other half is chosen anew by a machine whenever it likes (RFC 8981)


def address_of(request: HttpRequest) -> str:
    """Return the address under which failures are counted; of IPv6 the network of the household.

    Behind HTTPS it is the last address of `X-Forwarded-For`: the server in front wrote that one itself, and whatever
    stands before it may have been made up by the caller. Without HTTPS nobody's word is taken.
    """
    direct = str(request.META.get("REMOTE_ADDR") or "")
    if settings.HTTPS:
        last = str(request.META.get("HTTP_X_FORWARDED_FOR", "")).rpartition(",")[2].strip()
        return _counted(last) or _counted(direct)
    return _counted(direct)


def _counted(typed: str) -> str:
    address = _read(typed)
    if isinstance(address, IPv6Address):
        address = address.ipv4_mapped or ip_network((int(address), HOUSEHOLD_BITS), strict=False).network_address
    return str(address or "")


def _read(typed: str) -> IPv4Address | IPv6Address | None:
    """Read an address as proxies write it: bare, `[2001:db8::7]:4711` or `203.0.113.7:4711`; None for anything else."""
    bare = typed[1:].partition("]")[0] if typed.startswith("[") else typed
    if bare.count(":") == 1:
        bare = bare.partition(":")[0]
    try:
        return ip_address(bare)
    except ValueError:
        return None
