"""Which ledger entries are still valid when some entries take others back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping


def withdrawn_entries(corrects: Mapping[int, int]) -> set[int]:
    """Return the entries that valid corrections take back; `corrects` maps each correction to the entry it names.

    A correction that is itself taken back no longer counts, so the entry it named is valid again. The walk starts at
    the corrections that nothing corrects and needs no recursion, because a chain may be as long as the book. Raises
    ValueError for corrections in a ring.
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
