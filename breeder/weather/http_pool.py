"""HTTP connections that can be cut at any time and that refuse private networks."""

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
    """The name of the service resolves to an address in a private network."""


class CuttableSockets:
    """The open sockets of one request; `cut` ends them from another thread, whatever they wait for."""

    def __init__(self) -> None:
        self.was_cut = False
        self.sockets: list[socket.socket] = []

    def cut(self) -> None:
        self.was_cut = True
        for sock in self.sockets:
            with contextlib.suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)

    def watch(self, sock: socket.socket) -> None:
        """Keep track of a socket; one that opens after the cut is cut at once."""
        self.sockets.append(sock)
        if self.was_cut:
            self.cut()


def is_private(address: str) -> bool:
    """Return whether an address is not on the public internet: this machine, a home network, link-local."""
    ip = ipaddress.ip_address(address.partition("%")[0])
    mapped = getattr(ip, "ipv4_mapped", None)
    return not (mapped or ip).is_global


@contextmanager
def guarded_pool(
    url: str, live: CuttableSockets, *, may_be_private: bool, ca_certs: str
) -> Iterator[urllib3.HTTPConnectionPool]:
    """Yield a connection pool for one request to the host of a URL."""

    def check(sock: Any) -> None:
        # Check the address of the open connection: a name could resolve differently a moment earlier.
        if not may_be_private and is_private(sock.getpeername()[0]):
            sock.close()
            raise PrivateAddress
        live.watch(sock)

    class Plain(HTTPConnection):
        def connect(self) -> None:
            super().connect()
            check(self.sock)

    class Secure(HTTPSConnection):
        def connect(self) -> None:
            super().connect()
            check(self.sock)

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
        for sock in live.sockets:
            with contextlib.suppress(OSError):
                sock.close()
