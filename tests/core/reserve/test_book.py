"""The stock book from entries to what may be sold, to the animal."""

import copy
import json
import math
import random
from typing import Any

import pytest

from breeder.core.counting.methods.subsample import portions
from breeder.core.jsonio.duplicate_keys import load
from breeder.core.jsonio.errors import BadInput
from breeder.core.reserve.book import LineTerms
from breeder.core.reserve.reckon import book

Z = 1.6448536269514722
MONTH = 30.4375


def document(**values: Any) -> dict[str, Any]:
    """The worked line: one breeding tub, a guess, a packing that was a mistake, two promises."""
    base: dict[str, Any] = {
        "as_of": "2026-03-01",
        "line": {"breeding_minimum": {"adults": 50, "young": 50}, "confidence": 0.95, "handling_loss": 0},
        "tubs": [{"tub": 14, "purpose": "breeding"}],
        "entries": [eye(1, 14, "2026-01-10"), change(2, 14, "2026-01-20", -12), correct(3, 14, "2026-01-21", 2)],
        "promises": [{"stage": "adults", "number": 12}, {"stage": "adults", "number": 6, "tub": 14}],
    }
    return copy.deepcopy(base | values)


def eye(number: int, tub: int, on: str, low: int = 100, high: int = 250, stage: str = "adults") -> dict[str, Any]:
    count = {"method": "eye", "from": low, "to": high, "shared_sd": 0.35}
    return {"id": number, "tub": tub, "on": on, "kind": "count", "stage": stage, "count": count}


def hand(number: int, tub: int, on: str, counted: int, stage: str = "adults") -> dict[str, Any]:
    return eye(number, tub, on, stage=stage) | {"count": {"method": "hand", "counted": counted}}


def change(number: int, tub: int, on: str, by: int, reason: str = "packed", stage: str = "adults") -> dict[str, Any]:
    return {"id": number, "tub": tub, "on": on, "kind": "change", "stage": stage, "number": by, "reason": reason}


def correct(number: int, tub: int, on: str, wrong: int) -> dict[str, Any]:
    return {"id": number, "tub": tub, "on": on, "kind": "correct", "corrects": wrong}


def line(given: dict[str, Any], stage: str = "adults") -> dict[str, Any]:
    return book(load(json.dumps(given)))["line"][stage]


def tub(given: dict[str, Any], number: int = 14, stage: str = "adults") -> dict[str, Any]:
    return book(load(json.dumps(given)))["tubs"][str(number)][stage]


def test_the_worked_line() -> None:
    months = 50 / MONTH
    middle = math.sqrt(25000) * math.exp(-months / 24)
    log_sd = math.sqrt((math.log(2.5) / 3.29) ** 2 + 0.35**2 + 0.02 * months)
    page = tub(document())
    assert page["middle"] == pytest.approx(middle)
    assert page["log_sd"] == pytest.approx(log_sd)
    assert page["lower"] == math.floor(middle * math.exp(-Z * log_sd)) == 66
    assert (page["moved"], page["counted_on"]) == (0, "2026-01-10")
    answer = line(document())
    figures = {"lower": 66, "breeding_minimum": 50, "promised": 18, "free": 0, "short": 2}
    assert {name: answer[name] for name in figures} == figures
    assert all(note.endswith(".") for note in answer["notes"])


def test_without_the_correction_the_packing_counts() -> None:
    page = tub(document(entries=document()["entries"][:2]))
    assert (page["moved"], page["lower"]) == (-12, 66 - 12)


def test_a_corrected_correction_no_longer_counts() -> None:
    given = document(entries=[*document()["entries"], correct(4, 14, "2026-01-22", 3)])
    assert tub(given)["moved"] == -12


@pytest.mark.parametrize(("corrections", "lower"), [(5000, 88), (5001, 100)])
def test_a_chain_of_corrections_may_be_as_long_as_the_book(corrections: int, lower: int) -> None:
    """An even number of corrections keeps the packing, an odd number takes it away."""
    chain = [correct(3 + n, 14, "2026-01-21", 2 + n) for n in range(corrections)]
    entries = [*reversed(chain), change(2, 14, "2026-01-20", -12), hand(1, 14, "2026-01-20", 100)]
    given = document(entries=entries, promises=[], as_of="2026-01-20")
    assert book(given)["line"]["adults"]["lower"] == lower


def test_the_order_of_typing_changes_nothing() -> None:
    entries = [
        eye(1, 14, "2026-01-10"),
        change(2, 14, "2026-01-20", -12),
        correct(3, 14, "2026-01-21", 2),
        change(4, 14, "2026-01-25", -5),
        eye(5, 14, "2026-02-02", 50, 100),
        {"id": 6, "tub": 14, "on": "2026-02-10", "kind": "about", "stage": "adults", "number": -9, "log_sd": 0.2},
        hand(7, 14, "2026-02-10", 40, "young"),
    ]
    expected = book(load(json.dumps(document(entries=entries))))
    draw = random.Random(4)
    for _ in range(10):
        draw.shuffle(entries)
        assert book(load(json.dumps(document(entries=entries)))) == expected
    # Typed late under a later id, a fact of another day is still the same fact.
    late = [entry | {"id": 90} if entry["id"] == 4 else entry for entry in entries]
    assert book(load(json.dumps(document(entries=late)))) == expected


def test_within_a_day_what_came_in_was_counted_and_what_went_out_left_after_it() -> None:
    facts = [
        hand(1, 14, "2026-02-28", 100),
        change(2, 14, "2026-02-28", -12),
        change(3, 14, "2026-02-28", 1, "received"),
    ]
    for ids in ((1, 2, 3), (3, 2, 1), (2, 3, 1)):
        typed = [fact | {"id": number} for fact, number in zip(facts, ids, strict=True)]
        page = tub(document(entries=typed, as_of="2026-02-28"))
        assert (page["moved"], page["lower"]) == (-12, 88)


def test_entries_after_the_day_have_not_happened() -> None:
    given = document(entries=[eye(1, 14, "2026-01-10"), change(2, 14, "2026-03-02", -12)])
    assert tub(given)["moved"] == 0
    assert "1 entries after 2026-03-01 are left out." in line(given)["notes"]


def test_promising_and_packing_nine_times_lowers_what_is_free_once_each() -> None:
    given = document(entries=[hand(1, 14, "2026-02-25", 300)], promises=[])
    free = line(given)["free"]
    for round_ in range(9):
        given["promises"] = [{"stage": "adults", "number": 12}]
        assert line(given)["free"] == free - 12
        given["promises"] = []
        given["entries"].append(change(10 + round_, 14, "2026-02-26", -12))
        assert line(given)["free"] == free - 12
        free -= 12


def test_young_are_promised_and_packed_within_the_harvest_share() -> None:
    given = document(entries=[hand(1, 14, "2026-02-26", 300, "young")], promises=[])
    given["line"] |= {"harvest_share": 0.30, "widening_per_month": 0}
    assert line(given, "young")["free"] == 90
    assert line(given)["free"] == 0
    given["promises"] = [{"stage": "young", "number": 40, "tub": 14}]
    assert (line(given, "young")["free"], tub(given, stage="young")["free"]) == (50, 50)
    given["promises"] = []
    given["entries"].append(change(2, 14, "2026-02-27", -40, "packed", "young"))
    assert line(given, "young")["free"] == 50
    given["entries"].append(hand(3, 14, "2026-02-28", 260, "young"))
    assert line(given, "young")["free"] == 78


def test_young_keep_the_adults_number_unless_they_have_their_own() -> None:
    given = document(entries=[hand(1, 14, "2026-03-01", 300, "young")], promises=[])
    given["line"]["breeding_minimum"] = {"adults": 30}
    assert line(given, "young")["breeding_minimum"] == 30
    del given["line"]["breeding_minimum"]
    assert line(given, "young")["free"] == 300 - 20


def test_a_stale_count_sells_nothing() -> None:
    given = document(entries=[hand(1, 14, "2025-08-30", 300)], promises=[{"stage": "adults", "number": 7}])
    answer = line(given)
    assert (answer["lower"], answer["free"], answer["short"]) == (0, 0, 7)
    assert tub(given)["lower"] > 100
    given["entries"][0]["on"] = "2025-08-31"
    assert line(given)["free"] > 0


def test_purposes_decide_what_is_sold_and_who_breeds() -> None:
    tubs = [{"tub": n, "purpose": p} for n, p in enumerate(("breeding", "growing", "quarantine", "mixed"), start=1)]
    entries = [hand(n, n, "2026-03-01", 60) for n in (1, 2, 3, 4)]
    given = document(tubs=tubs, entries=entries, promises=[])
    answer = line(given)
    assert (answer["lower"], answer["free"], answer["breeders"]) == (120, 70, 60)
    assert [tub(given, n)["free"] for n in (1, 2, 3, 4)] == [10, 60, 0, 0]
    assert [tub(given, n)["lower"] for n in (1, 2, 3, 4)] == [60] * 4


def test_what_stays_is_shared_over_the_breeding_tubs() -> None:
    tubs = [{"tub": n, "purpose": "breeding"} for n in (1, 2, 3)]
    given = document(tubs=tubs, entries=[hand(n, n, "2026-03-01", 40) for n in (1, 2, 3)], promises=[])
    assert [tub(given, n)["free"] for n in (1, 2, 3)] == [23, 23, 23]
    assert line(given)["free"] == 70


def test_the_bound_at_any_confidence_is_the_methods_own() -> None:
    count = {"method": "portions", "counts": [9, 14, 6], "sizes": [50, 50, 50], "whole": 4000}
    for level in (0.8, 0.95, 0.975, 0.99, 0.995):
        given = document(entries=[hand(1, 14, "2026-03-01", 1) | {"count": count}], promises=[])
        given["line"]["confidence"] = level
        alone = portions([9, 14, 6], [50, 50, 50], 4000, confidence=level)
        assert tub(given)["lower"] == math.floor(alone.lower)  # type: ignore[arg-type]


def test_lower_200_with_50_kept_and_a_tenth_lost_is_135_however_often_it_is_promised_and_packed() -> None:
    given = document(entries=[hand(1, 14, "2026-03-01", 200)], promises=[])
    given["line"] |= {"handling_loss": 0.1}
    assert line(given)["free"] == 135
    left = 135
    for number, packed in enumerate((10, 1, 33, 50, 41), start=2):
        given["promises"] = [{"stage": "adults", "number": packed}]
        assert line(given)["free"] == left - packed
        given["promises"] = []
        given["entries"].append(change(number, 14, "2026-03-01", -packed))
        left -= packed
        assert line(given)["free"] == left
    assert left == 0


def test_a_tub_tipped_apart_keeps_what_was_taken_so_the_share_is_not_renewed() -> None:
    """Of 100 young 30 may go; 28 went, 2 are left. Tipping half out leaves at most 2 (before: 29 in all)."""
    given = document(
        entries=[hand(1, 14, "2026-03-01", 100, "young"), change(2, 14, "2026-03-01", -28, stage="young")], promises=[]
    )
    given["line"] |= {"harvest_share": 0.30, "breeding_minimum": {"adults": 0, "young": 0}}
    assert line(given, "young")["free"] == 2
    tipped = {"kind": "about", "stage": "young", "number": -36, "log_sd": 0.0, "share": 0.5}
    given["entries"].append({"id": 3, "tub": 14, "on": "2026-03-01"} | tipped)
    assert line(given, "young")["free"] == 1


def test_young_grow_up_where_the_line_says_how_fast() -> None:
    given = document(entries=[hand(1, 14, "2026-01-01", 400, "young"), hand(2, 14, "2026-01-01", 400)], promises=[])
    given["line"] |= {"widening_per_month": 0, "adult_life_months": 1e6}
    assert tub(given, stage="young")["lower"] == 400  # without these figures young do not age
    given["line"] |= {"young_mature_months": 8, "young_survival": 0.5}
    months = 59 / MONTH
    left = (0.5 ** (months / 8) - 0.5) / 0.5
    assert tub(given, stage="young")["middle"] == pytest.approx(400 * left)
    assert tub(given, stage="young")["lower"] == math.floor(400 * left)
    assert tub(given)["lower"] == 399
    given["line"] |= {"young_survival": 1}
    assert tub(given, stage="young")["lower"] == math.floor(400 * (1 - months / 8))
    given["line"] |= {"young_mature_months": 0.7}
    assert tub(given, stage="young")["lower"] == 0
    assert any("grown within 21 days" in note for note in line(given, "young")["notes"])


def test_one_figure_of_the_young_without_the_other_is_a_fault() -> None:
    for name, missing in (("young_mature_months", "young_survival"), ("young_survival", "young_mature_months")):
        given = document()
        given["line"][name] = 0.5
        with pytest.raises(BadInput, match=rf"line\.{missing}: .*without it"):
            book(given)


def test_handling_loss_and_confidence_are_the_lines_own() -> None:
    given = document(entries=[hand(1, 14, "2026-03-01", 180)], promises=[])
    given["line"]["handling_loss"] = 0.1
    assert line(given)["free"] == 117
    bold = document()
    bold["line"]["confidence"] = 0.8
    assert tub(bold)["lower"] > tub(document())["lower"]


def test_the_line_ages_by_its_own_constants() -> None:
    slow = document()
    slow["line"] |= {"adult_life_months": 1e6, "widening_per_month": 0}
    assert tub(slow)["lower"] == 75
    fresh = document(entries=[hand(1, 14, "2025-11-01", 300)])
    fresh["line"]["stale_after_months"] = 3
    assert line(fresh)["lower"] == 0


def test_an_absurd_life_or_widening_is_refused_beyond_a_named_limit() -> None:
    """Common practice, no source: what lies beyond a million months, or 10 a month, is mistyped."""
    for field, still, no_more in (("adult_life_months", 1e6, 1e6 + 1), ("widening_per_month", 10, 10.01)):
        given = document()
        given["line"][field] = still
        book(given)
        given["line"][field] = no_more
        with pytest.raises(BadInput, match=field):
            book(given)


def test_a_count_that_says_nothing_is_left_out_with_a_note() -> None:
    nothing = {"method": "after_sale", "index_before": 5, "index_after": 6, "removed": 20}
    given = document(entries=[eye(1, 14, "2026-01-10"), eye(2, 14, "2026-02-10") | {"count": nothing}])
    assert tub(given)["counted_on"] == "2026-01-10"
    assert any("did not fall" in note for note in line(given)["notes"])


def test_a_tub_without_entries_and_a_book_without_any() -> None:
    answer = book(document(entries=[], promises=[{"stage": "adults", "number": 3}]))
    assert answer["tubs"] == {"14": {}}
    adults = answer["line"]["adults"]
    assert (adults["lower"], adults["free"], adults["short"]) == (0, 0, 3)


def test_a_line_without_terms_keeps_the_keepers_defaults() -> None:
    terms = LineTerms()
    assert (terms.kept("adults"), terms.kept("young"), terms.confidence, terms.handling_loss) == (20, 20, 0.95, 0)
    assert LineTerms({"young": 5}).kept("adults") == 0
    assert (terms.harvest("adults"), LineTerms(harvest_share=0.3).harvest("young")) == (None, 0.3)


def test_all_faults_of_the_book_are_named_at_once() -> None:
    given = document(
        as_of="1st of March",
        tubs=[{"tub": 14, "purpose": "breeding"}, {"tub": 14, "purpose": "attic"}],
        promises=[{"stage": "eggs", "number": -1}, {"stage": "adults", "number": 1, "tub": 15}],
    )
    given["line"] |= {"confidence": 1, "handling_loss": 1, "harvest_share": 2, "adult_life_months": 0, "color": "x"}
    given["entries"] = [
        eye(1, 14, "2026-01-10", 0, 250),
        change(1, 15, "2026-01-20", 0) | {"number": 1.5},
        correct(3, 14, "2026-01-21", 8),
        {"id": 4, "tub": 14, "on": "2026-01-21", "kind": "sneezed"},
        correct(5, 14, "2026-01-21", 6),
        correct(6, 14, "2026-01-21", 5),
        correct(7, 14, "2026-01-21", 7),
        eye(8, 14, "2026-01-10") | {"count": {"method": "eye", "from": 5}},
    ]
    with pytest.raises(BadInput) as refused:
        book(load(json.dumps(given)))
    assert {fault.path for fault in refused.value.faults} == {
        "as_of", "line.confidence", "line.handling_loss", "line.harvest_share", "line.adult_life_months", "line.color",
        "tubs[1].tub", "tubs[1].purpose", "promises[0].stage", "promises[0].number", "promises[1].tub",
        "entries[0].count.from", "entries[1].id", "entries[1].tub", "entries[1].number", "entries[3].kind",
        "entries[4].corrects", "entries[5].corrects", "entries[6].corrects", "entries[7].count.to",
    }  # fmt: skip


def test_a_correction_of_another_tubs_entry_is_a_fault() -> None:
    tubs = [{"tub": 14, "purpose": "breeding"}, {"tub": 15, "purpose": "breeding"}]
    with pytest.raises(BadInput, match="about tub 14, not tub 15"):
        book(document(tubs=tubs, entries=[eye(1, 14, "2026-01-10"), correct(2, 15, "2026-01-11", 1)]))
    with pytest.raises(BadInput, match="no entry 9"):
        book(document(entries=[correct(2, 14, "2026-01-11", 9)]))
