"""Under which addresses the book is open: to this machine, to a phone in the same home, and to nobody else."""

import socket
from collections.abc import Iterable
from ipaddress import IPv4Network, ip_address

ONLY_HERE = ("localhost", "127.0.0.1", "[::1]")
USUAL_HOSTS = ",".join(ONLY_HERE)

# RFC 1918: the addresses that routers hand out at home, which no one reaches from outside.
HOME_NETWORKS = [IPv4Network(network) for network in ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16")]
# RFC 5737: belongs to nobody. Nothing is sent there; the system only says by which address it would go.
ANYWHERE = ("192.0.2.1", 9)


def is_home(host: str) -> bool:
    """Return whether a host is an address of a home network (RFC 1918)."""
    try:
        address = ip_address(host)
    except ValueError:
        return False
    return any(address in network for network in HOME_NETWORKS)


def home_address() -> str:
    """Return this machine's address in its home network; empty where it is in none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(ANYWHERE)
            host = str(probe.getsockname()[0])
        except OSError:
            return ""
    return host if is_home(host) else ""


def phone_address(scheme: str, asked: str, allowed: Iterable[str]) -> str:
    """Return where a phone reaches the book, such as 'http://192.168.1.20:8000'; empty if that is not known.

    The address the keeper is reading at, unless only this machine knows it; then the first name it may be called by.
    """
    name, _, port = asked.rpartition(":") if asked.rpartition(":")[2].isdecimal() else (asked, "", "")
    if name not in ONLY_HERE:
        return f"{scheme}://{asked}"
    named = next((host for host in allowed if host not in ONLY_HERE and not host.startswith((".", "*"))), "")
    return f"{scheme}://{named}{':' + port if port else ''}" if named else ""
