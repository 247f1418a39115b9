"""A local server that misbehaves on command, and a guard that keeps tests from reaching any other machine."""

import contextlib
import json
import socket
import struct
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

Behaviour = Callable[["Caller"], None]


class Caller(BaseHTTPRequestHandler):
    """One request, handled by the next behavior in the server's list; the last one repeats."""

    protocol_version = "HTTP/1.1"
    server: "Rogue"

    def do_GET(self) -> None:
        self.server.asked.append((self.path, {name.lower(): value for name, value in self.headers.items()}))
        todo = self.server.behaviours
        with contextlib.suppress(OSError):
            (todo.pop(0) if len(todo) > 1 else todo[0])(self)

    def log_message(self, format: str, *args: Any) -> None:
        """Log nothing."""


class Rogue(ThreadingHTTPServer):
    """The server, with the requests it received."""

    daemon_threads = True
    block_on_close = False

    def __init__(self, *behaviours: Behaviour) -> None:
        super().__init__(("127.0.0.1", 0), Caller)
        self.behaviours = list(behaviours)
        self.asked: list[tuple[str, dict[str, str]]] = []
        self.ended = threading.Event()

    @property
    def home(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}"


@contextmanager
def rogue(*behaviours: Behaviour) -> Iterator[Rogue]:
    """Run a server on this machine."""
    server = Rogue(*behaviours)
    thread = threading.Thread(target=lambda: server.serve_forever(poll_interval=0.01), daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.ended.set()
        server.shutdown()
        server.server_close()
        thread.join(2)


def says(document: Any, status: int = 200, kind: str = "application/json", **headers: str) -> Behaviour:
    """Send a complete answer."""
    body = document if isinstance(document, bytes) else json.dumps(document).encode()

    def behave(caller: Caller) -> None:
        caller.send_response(status)
        if status != 304:
            caller.send_header("Content-Type", kind)
            caller.send_header("Content-Length", str(len(body)))
        for name, value in headers.items():
            caller.send_header(name.replace("_", "-"), value)
        caller.end_headers()
        if status != 304:
            caller.wfile.write(body)

    return behave


def short(caller: Caller) -> None:
    """Announce a hundred bytes, send ten, hang up."""
    caller.send_response(200)
    caller.send_header("Content-Type", "application/json")
    caller.send_header("Content-Length", "100")
    caller.end_headers()
    caller.wfile.write(b'{"half": 1')
    caller.close_connection = True


def hangs(caller: Caller) -> None:
    """Send nothing at all."""
    caller.server.ended.wait(5)
    caller.close_connection = True


def drips(caller: Caller) -> None:
    """Send a byte now and then, forever."""
    caller.send_response(200)
    caller.send_header("Content-Type", "application/json")
    caller.send_header("Content-Length", "1000")
    caller.end_headers()
    while not caller.server.ended.wait(0.03):
        caller.wfile.write(b" ")
        caller.wfile.flush()


def drips_headers(caller: Caller) -> None:
    """Send a byte of a header now and then, forever."""
    caller.wfile.write(b"HTTP/1.1 200 OK\r\nX-Long: ")
    while not caller.server.ended.wait(0.03):
        caller.wfile.write(b"x")
        caller.wfile.flush()


def resets(caller: Caller) -> None:
    """Reset the connection."""
    caller.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    caller.connection.close()
    caller.close_connection = True


def leads_to(address: Callable[[Rogue], str], status: int = 301) -> Behaviour:
    """Redirect to another URL."""

    def behave(caller: Caller) -> None:
        says(b"", status, Location=address(caller.server))(caller)

    return behave


@contextmanager
def only_this_machine() -> Iterator[list[Any]]:
    """Allow connections to this machine only; yield the other addresses that were tried."""
    tried: list[Any] = []
    connect, look_up = socket.socket.connect, socket.getaddrinfo

    def guarded(line: socket.socket, address: Any) -> None:
        if line.family != socket.AF_UNIX and str(address[0]) not in ("127.0.0.1", "::1"):
            tried.append(address)
            raise OSError(f"A test wanted to reach {address}.")
        connect(line, address)

    def guarded_look_up(host: Any, *args: Any, **kwargs: Any) -> Any:
        if host not in ("127.0.0.1", "::1", "localhost", None, ""):
            tried.append(host)
            raise socket.gaierror(f"A test wanted to look up {host}.")
        return look_up(host, *args, **kwargs)

    socket.socket.connect, socket.getaddrinfo = guarded, guarded_look_up  # type: ignore[method-assign,assignment]
    try:
        yield tried
    finally:
        socket.socket.connect, socket.getaddrinfo = connect, look_up  # type: ignore[method-assign]
