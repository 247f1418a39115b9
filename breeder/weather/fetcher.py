"""Send requests to weather services: the only network access, gentle, with one deadline over all tries.

Clock, sleep and dice come from the caller. Nothing is stored here; `fetch_store` stores the answers.

Tries are not left to urllib3's `Retry`: it returns before the body is read, so it neither repeats a body that breaks
off nor bounds its size, it waits out a `Retry-After` beyond the deadline, and it sleeps on its own clock.
"""

import json
import random
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from urllib.parse import urljoin, urlsplit

import certifi
import urllib3
from django.utils import timezone

from breeder.weather.http_pool import CuttableSockets, PrivateAddress, guarded_pool
from breeder.weather.services.errors import BadResponse, ServiceTrouble, Unavailable
from breeder.weather.services.types import ServiceAnswer, ServiceRequest

LARGEST_BODY = 5_000_000  # bytes, after unpacking; a grid of the US service has about 0.3 million
MOST_REDIRECTS = 3
PIECE = 65_536

REDIRECTS = (301, 302, 303, 307, 308)
WORTH_RETRYING = (500, 502, 503, 504)
LIMITED = 429


@dataclass(frozen=True)
class Patience:
    """How long to wait for what, in seconds, and how often to try."""

    connect_s: float = 5.0
    read_s: float = 10.0
    overall_s: float = 20.0
    tries: int = 3
    before_retry_s: tuple[float, ...] = (1.0, 5.0)
    between_asks_s: float = 1.0  # between requests to one host


class _TryAgain(Exception):
    """This try failed, but another may succeed."""

    def __init__(
        self, trouble: ServiceTrouble, answer: ServiceAnswer | None = None, wait_s: float | None = None
    ) -> None:
        super().__init__(str(trouble))
        self.trouble, self.answer, self.wait_s = trouble, answer, wait_s


@dataclass
class Fetcher:
    """Sends requests to a service. `own_home`: the keeper's own server or relay, perhaps private and plain HTTP."""

    service: str
    domain: str
    own_home: str = ""
    retry_when_limited_s: float | None = None
    patience: Patience = field(default_factory=Patience)
    clock: Callable[[], datetime] = timezone.now
    monotonic: Callable[[], float] = time.monotonic
    sleep: Callable[[float], object] = time.sleep
    dice: random.Random = field(default_factory=random.Random)
    _last_asked: dict[str, float] = field(default_factory=dict)

    def get(self, ask: ServiceRequest, conditional: Mapping[str, str] | None = None) -> ServiceAnswer:
        """Return the answer, whatever its status, after retries where they help.

        Raises a ServiceTrouble without an answer.
        """
        ends = self.monotonic() + self.patience.overall_s
        for number in range(1, self.patience.tries + 1):
            try:
                return self._follow(ask, conditional or {}, ends)
            except _TryAgain as failed:
                wait = failed.wait_s if failed.wait_s is not None else self._wait_s(number)
                if number == self.patience.tries or self.monotonic() + wait >= ends:
                    if failed.answer is not None:
                        return failed.answer
                    raise failed.trouble from None
                self.sleep(wait)
        raise AssertionError("The last try returns or raises.")

    def _wait_s(self, number: int) -> float:
        """Return the seconds to wait after a failed try: random up to a bound, so that callers spread out."""
        bounds = self.patience.before_retry_s
        return self.dice.uniform(0.0, bounds[min(number, len(bounds)) - 1])

    def _follow(self, ask: ServiceRequest, conditional: Mapping[str, str], ends: float) -> ServiceAnswer:
        """Return the answer at the end of at most three redirects within the service's own name."""
        url = ask.url
        first = self._host(url)
        for _ in range(MOST_REDIRECTS + 1):
            headers = dict(ask.headers) | dict(conditional)
            if self._host(url) == first:
                headers |= ask.secret
            answer = self._try(ask, url, headers, ends)
            if answer.status not in REDIRECTS:
                return self._final(answer)
            url = urljoin(url, answer.headers.get("location", ""))
        raise BadResponse(self.service, "redirects", f"it led on more than {MOST_REDIRECTS} times")

    def _final(self, answer: ServiceAnswer) -> ServiceAnswer:
        """Return an answer that another try would not improve. Raises _TryAgain for any other."""
        wait_s = answer.retry_after_s
        trouble = Unavailable(self.service, f"{self.service} cannot answer just now. It is asked again.")
        if answer.status in WORTH_RETRYING:
            raise _TryAgain(trouble, answer, wait_s)
        if answer.status == LIMITED and self.retry_when_limited_s is not None:
            raise _TryAgain(trouble, answer, wait_s or self.retry_when_limited_s)
        if answer.status == 200 and "json" in answer.headers.get("content-type", ""):
            try:
                json.loads(answer.body)
            except (ValueError, RecursionError):
                raise _TryAgain(trouble, answer) from None
        return answer

    def _host(self, url: str) -> str:
        """Return host and port of a URL that may be requested. Raises BadResponse for any other."""
        parts, home = urlsplit(url), urlsplit(self.own_home)
        if self.own_home:
            if (parts.scheme, parts.netloc) != (home.scheme, home.netloc):
                raise BadResponse(self.service, "address", "it leads away from your own server")
            return parts.netloc
        name = parts.hostname or ""
        if parts.scheme != "https" or not (name == self.domain or name.endswith(f".{self.domain}")):
            raise BadResponse(self.service, "address", "it leads away from the service")
        return parts.netloc

    def _try(self, ask: ServiceRequest, url: str, headers: dict[str, str], ends: float) -> ServiceAnswer:
        """Return the answer of one try. A timer cuts the connection at the deadline, even if bytes keep dripping in."""
        self._wait_for_turn(self._host(url))
        left = ends - self.monotonic()
        if left <= 0:
            raise self._too_slow()
        live = CuttableSockets()
        limits = urllib3.Timeout(connect=min(self.patience.connect_s, left), read=min(self.patience.read_s, left))
        deadline = threading.Timer(left, live.cut)
        deadline.daemon = True
        deadline.start()
        try:
            with guarded_pool(url, live, may_be_private=bool(self.own_home), ca_certs=certifi.where()) as pool:
                reply = pool.urlopen(
                    "GET", _path(url), headers=headers | {"Accept-Encoding": "gzip"}, timeout=limits, retries=False,
                    redirect=False, preload_content=False,
                )  # fmt: skip
                body = self._body(reply, live)
                reply_headers = {name.lower(): value for name, value in reply.headers.items()}
                return ServiceAnswer(ask.endpoint, url, reply.status, reply_headers, body, self.clock())
        except PrivateAddress:
            raise BadResponse(self.service, "address", "it leads into a private network") from None
        except (urllib3.exceptions.HTTPError, OSError) as failed:
            if live.was_cut:
                raise self._too_slow() from None
            raise _TryAgain(self._no_answer(failed)) from None
        finally:
            deadline.cancel()

    def _body(self, reply: urllib3.BaseHTTPResponse, live: CuttableSockets) -> bytes:
        """Return the whole body, unpacked. Raises BadResponse if it is larger than any forecast."""
        pieces, size = [], 0
        for piece in _pieces(reply):
            size += len(piece)
            if size > LARGEST_BODY:
                raise BadResponse(self.service, "size", f"it is larger than {LARGEST_BODY // 1_000_000} MB")
            pieces.append(piece)
        if live.was_cut:
            raise self._too_slow()
        return b"".join(pieces)

    def _wait_for_turn(self, host: str) -> None:
        """Wait until a second has passed since the last request to this host."""
        last = self._last_asked.get(host)
        if last is not None and (wait := last + self.patience.between_asks_s - self.monotonic()) > 0:
            self.sleep(wait)
        self._last_asked[host] = self.monotonic()

    def _too_slow(self) -> Unavailable:
        seconds = f"{self.patience.overall_s:.0f} seconds"
        return Unavailable(self.service, f"{self.service} did not answer within {seconds}. It is asked again.")

    def _no_answer(self, failed: Exception) -> Unavailable:
        kind = type(failed).__name__
        return Unavailable(
            self.service, f"{self.service} cannot be reached, or broke off. It is asked again.", detail=kind
        )


def _pieces(reply: urllib3.BaseHTTPResponse) -> Iterable[bytes]:
    """Yield the body as it arrives; each read returns what is there, so that a slow server is noticed."""
    while piece := reply.read1(PIECE, decode_content=True):
        yield piece


def _path(url: str) -> str:
    parts = urlsplit(url)
    return parts.path + (f"?{parts.query}" if parts.query else "")
