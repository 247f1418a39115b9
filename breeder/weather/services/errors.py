"""Failures between a request to a service and its hours; no text here ever holds a key or an address."""

from datetime import datetime


class ServiceTrouble(Exception):
    """Base class; `sentence` is for the keeper, `detail` (short, in the service's words) for the log."""

    def __init__(self, service: str, sentence: str, *, detail: str = "", status: int | None = None) -> None:
        self.service, self.sentence, self.detail, self.status = service, sentence, detail[:200], status
        super().__init__(f"{service}: {sentence}")


class NotCovered(ServiceTrouble):
    """The service has no forecast for this place."""


class RateLimited(ServiceTrouble):
    """The service was asked too often and wants to be left alone until a time."""

    def __init__(self, service: str, until: datetime, *, detail: str = "", status: int | None = None) -> None:
        self.until = until
        sentence = f"{service} was asked too often and is left alone until {until:%H:%M} UTC. Nothing needs doing."
        super().__init__(service, sentence, detail=detail, status=status)


class Unavailable(ServiceTrouble):
    """The service did not answer, or cannot right now; it is asked again later."""


class BadResponse(ServiceTrouble):
    """The answer is not in the form that the service documents; `kind` is a short name for the fault."""

    def __init__(self, service: str, kind: str, detail: str, *, status: int | None = None) -> None:
        self.kind = kind
        sentence = f"{service} sent an answer that cannot be relied on ({kind}: {detail[:120]}). No hours were kept."
        super().__init__(service, sentence, detail=detail, status=status)


class NeedsKey(ServiceTrouble):
    """The service wants a key, a contact or a larger plan before it answers."""


class StaleUpstream(ServiceTrouble):
    """The service answers with a forecast that it stopped renewing."""

    def __init__(self, service: str, issued_at: datetime) -> None:
        self.issued_at = issued_at
        super().__init__(
            service,
            f"{service} still sends its forecast of {issued_at:%-d %B %H:%M} UTC, which is too old to post on. "
            "It is asked again; until then type lows and highs, or send in a file.",
        )
