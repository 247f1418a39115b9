"""Lines to a service that can be cut at any moment, and that refuse to reach into a private network."""

import contextlib
import ipaddress
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from urllib.parse import urlsplit

import urllib3
from urllib3.connection import HTTPConnection, HTTPSConnection


class PrivateAddress(Exception):
    """The name of the service leads to an address inside a private network."""


class Live:
    """The open line of one question; `cut` ends it from another thread, whatever it waits for."""

    def __init__(self) -> None:
        self.was_cut = False
        self.lines: list[socket.socket] = []

    def cut(self) -> None:
        self.was_cut = True
        for line in self.lines:
            with contextlib.suppress(OSError):
                line.shutdown(socket.SHUT_RDWR)

    def watch(self, line: socket.socket) -> None:
        """Keep hold of a line; one that opens after the cut is cut at once."""
        self.lines.append(line)
        if self.was_cut:
            self.cut()


def is_private(address: str) -> bool:
    """Return whether an address lies outside the public internet: this machine, the home network, link-local."""
    found = ipaddress.ip_address(address.partition("%")[0])
    mapped = getattr(found, "ipv4_mapped", None)
    return not (mapped or found).is_global


@contextmanager
def pool_for(url: str, live: Live, *, may_be_private: bool, ca_certs: str) -> Iterator[urllib3.HTTPConnectionPool]:
    """Yield a pool for one question to the host of an address."""

    def reached(line: Any) -> None:
        # The address that was really reached is looked at, so a name cannot change between asking and connecting.
        if not may_be_private and is_private(line.getpeername()[0]):
            line.close()
            raise PrivateAddress
        live.watch(line)

    class Plain(HTTPConnection):
        def connect(self) -> None:
            super().connect()
            reached(self.sock)

    class Secure(HTTPSConnection):
        def connect(self) -> None:
            super().connect()
            reached(self.sock)

    parts = urlsplit(url)
    pool: urllib3.HTTPConnectionPool
    if parts.scheme == "https":
        pool = urllib3.HTTPSConnectionPool(
            parts.hostname or "", parts.port, maxsize=1, cert_reqs="CERT_REQUIRED", ca_certs=ca_certs
        )
        pool.ConnectionCls = Secure
    else:
        pool = urllib3.HTTPConnectionPool(parts.hostname or "", parts.port, maxsize=1)
        pool.ConnectionCls = Plain
    try:
        yield pool
    finally:
        pool.close()
        for line in live.lines:
            with contextlib.suppress(OSError):
                line.close()
