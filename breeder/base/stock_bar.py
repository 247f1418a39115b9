"""The bar of animals: what stays, is promised, is free, may be sold later, is short, and the doubt, never sold."""

from dataclasses import dataclass

from breeder.core.counting.plurals import is_or_are, number_text

WIDTH = 100.0
HATCH_EVERY = 2.5


@dataclass(frozen=True)
class Part:
    """One coloured stretch of the bar, in hundredths of its width."""

    name: str
    x: float
    width: float


@dataclass(frozen=True)
class Bar:
    """The numbers behind one bar; all whole animals (or cups)."""

    stays: int = 0
    promised: int = 0
    free: int = 0
    short: int = 0
    doubt: int = 0
    unit: str = "animals"
    later: int = 0

    @property
    def total(self) -> int:
        covered = max(0, self.promised - self.short)
        return self.stays + covered + self.short + self.free + self.later + self.doubt

    def parts(self, scale: float = 0) -> tuple[Part, ...]:
        """Return the stretches from left to right; those of nothing are left out."""
        full = max(scale, self.total, 1)
        covered = max(0, self.promised - self.short)
        wanted = (
            ("stays", self.stays),
            ("promised", covered),
            ("short", self.short),
            ("free", self.free),
            ("later", self.later),
            ("doubt", self.doubt),
        )
        found, x = [], 0.0
        for name, number in wanted:
            width = WIDTH * number / full
            if width > 0:
                found.append(Part(name, x, width))
            x += width
        return tuple(found)

    def hatches(self, scale: float = 0) -> tuple[float, ...]:
        """Return where the strokes of the hatching begin."""
        doubt = [part for part in self.parts(scale) if part.name == "doubt"]
        if not doubt:
            return ()
        first = doubt[0]
        room = int((first.width - 1) / HATCH_EVERY)
        return tuple(first.x + HATCH_EVERY * step for step in range(room + 1))

    def said(self) -> str:
        """Return the bar in words, for those who don't see it."""
        words = [
            f"{number_text(self.stays, self.unit)} {'stays' if self.stays == 1 else 'stay'}",
            f"{self.promised} promised",
        ]
        words.append(f"short by {self.short}" if self.short else f"{self.free} free")
        if self.later:
            words.append(f"{self.later} later, after a count")
        if self.doubt:
            words.append(f"about {self.doubt} more may be there and {is_or_are(self.doubt)} not sold")
        return ", ".join(words)
