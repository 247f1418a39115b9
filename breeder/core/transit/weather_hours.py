"""The hours of one place, as a check and the calendar read them."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo


@dataclass(frozen=True)
class Hours:
    """Air temperature of one place on whole UTC hours; a missing hour is None and stays so.

    The freshest source wins hour by hour; `issued` says when the one behind each hour was issued.
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
    sd_share: tuple[float, ...] = ()  # how wide the usual error is here, by what was learnt; empty where all is usual
    coarse: tuple[bool, ...] = ()  # drawn between steps of several hours; empty where no source has any
    spread: tuple[bool, ...] = ()  # the source says itself how unsure it is; empty where none does
    anchored: tuple[bool, ...] = ()  # the source gave the extremes around it; empty where none does

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.timezone)

    @property
    def issued_at(self) -> datetime | None:
        """Return when the oldest source in use was issued; None when there are no hours."""
        return min((at for at in self.issued if at is not None), default=None)

    @property
    def source(self) -> str:
        """Return the sources in use, in words."""
        return " and ".join(self.sources) or "no hours"

    @property
    def missing(self) -> tuple[datetime, ...]:
        """Return the hours that nobody has given yet."""
        return tuple(at for at, value in zip(self.times, self.c, strict=True) if value is None)
