"""Values that services, fetcher and store exchange: a spot, a request, an answer, hours as read."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from email.utils import parsedate_to_datetime
from hashlib import sha256
from typing import Protocol

MISSING_MARK = "-"
LONGEST_RETRY_AFTER_S = 3600.0


@dataclass(frozen=True)
class Spot:
    """A rounded place (0.01°); `altitude_m` if the keeper gave it."""

    latitude: float
    longitude: float
    altitude_m: int | None = None


@dataclass(frozen=True)
class ServiceRequest:
    """A request to a service. `kept_for`: how long its answer is good if the service does not say."""

    endpoint: str
    url: str
    headers: Mapping[str, str]
    kept_for: timedelta
    is_lasting: bool = False  # keep the whole answer, since later requests need it
    secret: Mapping[str, str] = field(default_factory=dict, repr=False)  # headers sent to the named host only


@dataclass(frozen=True)
class ServiceAnswer:
    """The answer to a request: header names in lower case, the body as unpacked bytes."""

    endpoint: str
    url: str
    status: int
    headers: Mapping[str, str]
    body: bytes
    fetched_at: datetime

    @property
    def digest(self) -> str:
        return sha256(self.body).hexdigest()

    def moment(self, name: str) -> datetime | None:
        """Return the time in a header; None if it is missing or unreadable."""
        try:
            moment = parsedate_to_datetime(self.headers[name])
        except (KeyError, ValueError, TypeError):
            return None
        return moment if moment.tzinfo is not None else None

    @property
    def retry_after_s(self) -> float | None:
        """Return how long the service asks to be left alone, in seconds, at most an hour; None if it does not say."""
        text = self.headers.get("retry-after", "").strip()
        if text.isdecimal() and text.isascii():
            return min(float(text[:9]), LONGEST_RETRY_AFTER_S)
        until = self.moment("retry-after")
        if until is None:
            return None
        return min(max(0.0, (until - self.fetched_at).total_seconds()), LONGEST_RETRY_AFTER_S)

    def left_alone_until(self, otherwise: timedelta) -> datetime:
        """Return until when to leave the service alone after this answer; `otherwise` if it does not say."""
        seconds = self.retry_after_s
        return self.fetched_at + (otherwise if seconds is None else timedelta(seconds=seconds))


@dataclass(frozen=True)
class SpotHours:
    """Air temperature on whole UTC hours from `starts_at`; None is missing and stays so.

    `quality` holds a letter for each hour (see `hour_flags`): the source's step, whether it gave the extremes around
    it, '-' if missing. `spread_c` is the standard deviation that the source gives, empty if it gives none.
    """

    starts_at: datetime
    c: tuple[float | None, ...]
    quality: str
    spread_c: tuple[float | None, ...] = ()

    def __post_init__(self) -> None:
        if len(self.quality) != len(self.c) or len(self.spread_c) not in (0, len(self.c)):
            raise ValueError("Hours, quality and spread must be equally many.")
        if all(value is None for value in self.c):
            raise ValueError("There must be at least one hour.")


@dataclass(frozen=True)
class FetchedForecast:
    """Hours as read from a service, with what says how far to trust them."""

    service: str
    hours: SpotHours
    issued_at: datetime
    issued_is_estimate: bool
    fetched_at: datetime
    credit: str
    model: str = ""
    grid_latitude: float | None = None
    grid_longitude: float | None = None
    grid_elevation_m: float | None = None
    digest: str = ""
    remarks: tuple[str, ...] = ()


class WeatherService(Protocol):
    """Builds the requests to a service and reads its answers; no network, clock or database."""

    key: str
    name: str
    domain: str  # redirects may only lead to this registered name
    credit: str
    retry_when_limited_s: float | None  # wait this long and ask again after a 429; None: leave it alone

    def build_requests(
        self, place: Spot, start: datetime, end: datetime, earlier_responses: Sequence[ServiceAnswer] = ()
    ) -> tuple[ServiceRequest, ...]:
        """Return the next requests, none once the earlier answers are complete. Raises a Trouble."""
        ...

    def parse(self, responses: Sequence[ServiceAnswer], place: Spot, now: datetime) -> FetchedForecast:
        """Return the hours in the answers. Raises a Trouble."""
        ...
