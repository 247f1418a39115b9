"""Which entries of a ledger still stand when some take others back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping


def fallen(corrects: Mapping[int, int]) -> set[int]:
    """Return the entries that a standing correction takes back; `corrects` is what each correction names, by its id.

    A correction that is itself taken back no longer counts, so what it took away stands again. From the corrections
    that nothing corrects inwards, without recursion: a chain may be as long as the book. Raises ValueError for
    corrections in a ring.
    """
    waiting = Counter(corrects.values())
    settled = [number for number in corrects if not waiting[number]]
    taken_back: set[int] = set()
    for number in settled:  # grows while it is walked
        wrong = corrects[number]
        if number not in taken_back:
            taken_back.add(wrong)
        waiting[wrong] -= 1
        if not waiting[wrong] and wrong in corrects:
            settled.append(wrong)
    if len(settled) < len(corrects):
        ring = sorted(set(corrects) - set(settled))
        raise ValueError(f"The corrections {', '.join(map(str, ring))} correct each other. Take one of them out.")
    return taken_back
