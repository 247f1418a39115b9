"""The ratchet: a check that knows less than the last one on the same inputs cannot say better. Pure."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from breeder.dispatch.models import Check

# From worst to best; not decided is never go, and going with a pack is going.
RANK = {Check.Verdict.NO_GO: 0, Check.Verdict.NOT_DECIDED: 1, Check.Verdict.WITH_PACK: 2, Check.Verdict.GO: 2}


@dataclass(frozen=True)
class Content:
    """How much a check knew: hours of both ends that it needed and had, members, sources, and its oldest issue."""

    hours: int
    members: int
    sources: int
    issued_at: datetime | None = None

    def stored(self) -> dict[str, Any]:
        """Return it ready for JSON."""
        return asdict(self) | {"issued_at": None if self.issued_at is None else self.issued_at.isoformat()}

    @classmethod
    def read(cls, stored: Mapping[str, Any]) -> "Content":
        """Return it from what was stored."""
        issued = stored["issued_at"]
        return cls(
            stored["hours"], stored["members"], stored["sources"], datetime.fromisoformat(issued) if issued else None
        )

    def lacks(self, before: "Content") -> list[str]:
        """Return in words of what there is less than before."""
        said = [
            f"{mine} {name} instead of {theirs}"
            for name, mine, theirs in (
                ("hours of weather", self.hours, before.hours),
                ("simulated journeys", self.members, before.members),
                ("sources", self.sources, before.sources),
            )
            if mine < theirs
        ]
        if self.issued_at and before.issued_at and self.issued_at < before.issued_at:
            said.append("an older forecast")
        return said


@dataclass(frozen=True)
class Held:
    """What a check may say after the ratchet: its verdict, the content it is held to, and the sentence why."""

    verdict: str
    held_to: Content
    why: str = ""


def hold(verdict: str, content: Content, before: tuple[str, Content] | None) -> Held:
    """Return the verdict that a check may give beside the last one on the same inputs (its verdict and content).

    While less is known, what counts is still the content of the check that knew more: asking twice does not help.
    """
    if before is None:
        return Held(verdict, content)
    earlier, known = before
    lacks = content.lacks(known)
    if not lacks:
        return Held(verdict, content)
    if RANK[verdict] <= RANK[earlier]:  # type: ignore[index]
        return Held(verdict, known)
    label = Check.Verdict(earlier).label
    return Held(
        earlier,
        known,
        f"This check knows less than the last one ({', '.join(lacks)}), which said {label}; so it cannot say better. "
        "Bring what is missing and check again.",
    )


def last_of(check: Check | None) -> tuple[str, Content] | None:
    """Return verdict and content of a stored check; None without one, or for one that kept no content."""
    stored = check.result.get("held_to") if check is not None else None
    return (check.verdict, Content.read(stored)) if check is not None and stored else None
