"""Define the hourly weather of one place, as checks and the calendar read it."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo


@dataclass(frozen=True)
class Hours:
    """Air temperature of one place, °C, at whole UTC hours; a missing hour is None and stays None.

    For each hour the freshest source wins; `issued` says when that source was issued.
    """

    label: str
    latitude: float
    longitude: float
    timezone: str
    times: tuple[datetime, ...]
    c: tuple[float | None, ...]
    issued: tuple[datetime | None, ...]
    extra_sd_c: tuple[float, ...]
    filled: tuple[bool, ...]
    sources: tuple[str, ...]
    credits: tuple[str, ...]
    sd_share: tuple[float, ...] = ()  # learned factor on the usual error; empty if it is 1 everywhere
    coarse: tuple[bool, ...] = ()  # interpolated between steps of several hours; empty if none is
    spread: tuple[bool, ...] = ()  # the source gave its own spread; empty if none did
    anchored: tuple[bool, ...] = ()  # the source gave the extremes around the hour; empty if none did

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.timezone)

    @property
    def issued_at(self) -> datetime | None:
        """Return when the oldest source in use was issued; None when there are no hours."""
        return min((at for at in self.issued if at is not None), default=None)

    @property
    def source(self) -> str:
        """Return the names of the sources in use."""
        return " and ".join(self.sources) or "no hours"

    @property
    def missing(self) -> tuple[datetime, ...]:
        """Return the hours that no source has given yet."""
        return tuple(at for at, value in zip(self.times, self.c, strict=True) if value is None)
