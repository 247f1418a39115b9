"""Keep a check from giving a better verdict than the last one on the same inputs when it knows less."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from breeder.core.thermal.verdict import GO, LABELS, NO_GO, NOT_DECIDED, WITH_PACK

SAME_WIDTH_C = 0.005  # spreads are kept to two digits

# From worst to best; "not decided" is never a Go, and "with pack" is one.
RANK = {NO_GO: 0, NOT_DECIDED: 1, WITH_PACK: 2, GO: 2}


@dataclass(frozen=True)
class CheckContent:
    """How much a check knew: needed hours that it had at both ends, members, sources, and its oldest issue.

    `spread` and `anchors`: for how many of those hours a source gave its own spread, or the extremes around them;
    `width_c`: how much wider its sources spread than their age alone explains, °C (rms over the hours).
    """

    hours: int
    members: int
    sources: int
    issued_at: datetime | None = None
    spread: int = 0
    anchors: int = 0
    width_c: float = 0.0

    def stored(self) -> dict[str, Any]:
        """Return the content ready for JSON."""
        return asdict(self) | {"issued_at": None if self.issued_at is None else self.issued_at.isoformat()}

    @classmethod
    def read(cls, stored: Mapping[str, Any]) -> "CheckContent":
        """Return the content from what was stored."""
        issued = stored["issued_at"]
        counted = {name: stored.get(name, 0) for name in ("spread", "anchors", "width_c")}
        moment = datetime.fromisoformat(issued) if issued else None
        return cls(stored["hours"], stored["members"], stored["sources"], moment, **counted)

    def lacks(self, before: "CheckContent") -> list[str]:
        """Return in words what this check has less of than the one before."""
        lacking = [
            f"{mine} {noun if mine == 1 else f'{noun}s'}{ending} instead of {theirs}"
            for noun, ending, mine, theirs in (
                ("hour", " of weather", self.hours, before.hours),
                ("simulated journey", "", self.members, before.members),
                ("source", "", self.sources, before.sources),
                ("hour", " with a spread", self.spread, before.spread),
                ("hour", " with their highs and lows", self.anchors, before.anchors),
            )
            if mine < theirs
        ]
        if self.issued_at and before.issued_at and self.issued_at < before.issued_at:
            lacking.append("an older forecast")
        if self._knows_same_hours(before) and self.width_c > before.width_c + SAME_WIDTH_C:
            lacking.append("a wider spread in the same forecast")
        return lacking

    def _knows_same_hours(self, before: "CheckContent") -> bool:
        # A newer forecast may be less sure than the last and still be better. And the spread of hours that were missing
        # before says nothing about a check that did not have them.
        newer = bool(self.issued_at and before.issued_at and self.issued_at > before.issued_at)
        return not newer and self.hours <= before.hours


@dataclass(frozen=True)
class FlooredVerdict:
    """The verdict that a check may give, the content it is compared with next time, and why it was lowered."""

    verdict: str
    held_to: CheckContent
    why: str = ""


def apply_floor(verdict: str, content: CheckContent, before: tuple[str, CheckContent] | None) -> FlooredVerdict:
    """Return the verdict that a check may give after the last one on the same inputs (its verdict and content).

    As long as less is known, the content of the check that knew more still counts: asking twice does not help.
    """
    if before is None:
        return FlooredVerdict(verdict, content)
    earlier, known = before
    lacks = content.lacks(known)
    if not lacks:
        return FlooredVerdict(verdict, content)
    if RANK[verdict] <= RANK[earlier]:
        return FlooredVerdict(verdict, known)
    return FlooredVerdict(
        earlier,
        known,
        f"This check knows less than the last one ({', '.join(lacks)}), which said {LABELS[earlier]}; so it cannot say "
        "better. Bring what is missing and check again.",
    )
