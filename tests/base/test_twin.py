"""A second process that shares long sums: it gives what the first gives, and nothing is lost where it dies."""

import operator
from collections import deque
from queue import SimpleQueue
from typing import Any

import pytest

from breeder.base import worker


def everything(done: "SimpleQueue[Any]") -> list[Any]:
    return sorted(worker._finished(done))


def test_the_twin_does_the_parts_that_wait_from_the_last_on() -> None:
    waiting, done = deque([0, 1, 2]), SimpleQueue[Any]()
    with worker._twin() as process:
        worker._feed(process, worker._written((operator.neg, [4, 5, 6])), waiting, done)
        assert process.wait() == 0, "it ends by itself when nobody asks any more"
    assert [done.get() for _ in range(3)] == [(2, -6), (1, -5), (0, -4)]
    assert not waiting


def test_what_the_twin_prints_does_not_stand_among_its_answers() -> None:
    waiting, done = deque([0, 1]), SimpleQueue[Any]()
    with worker._twin() as process:
        worker._feed(process, worker._written((print, ["said by a part", "and by another"])), waiting, done)
    assert everything(done) == [(0, None), (1, None)]


def test_every_part_is_done_once_whoever_does_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker.os, "cpu_count", lambda: 2)
    assert sorted(worker.side_by_side(operator.neg, range(400))) == [(place, -place) for place in range(400)]


@pytest.mark.parametrize("begin", ["raise SystemExit(3)", "import sys; sys.stdin.buffer.read(20)"])
def test_a_twin_that_dies_leaves_its_parts_to_the_first(
    begin: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(worker.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(worker, "BEGIN", begin)
    assert sorted(worker.side_by_side(operator.neg, range(12))) == [(place, -place) for place in range(12)]
    waiting, done = deque([0, 1]), SimpleQueue[Any]()
    with worker._twin() as process:
        worker._feed(process, worker._written((operator.neg, [4, 5])), waiting, done)
    assert (sorted(waiting), everything(done)) == ([0, 1], [])
    assert "A second process ended early" in caplog.text


def test_where_no_twin_can_begin_the_first_does_it_all(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(worker.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(worker.sys, "executable", "/nowhere/python")
    assert list(worker.side_by_side(operator.neg, range(12))) == [(place, -place) for place in range(12)]
    assert "could not begin" in caplog.text


def test_an_answer_that_cannot_be_read_loses_no_part(caplog: pytest.LogCaptureFixture) -> None:
    waiting, done = deque([0, 1]), SimpleQueue[Any]()
    with worker._twin() as process:
        # A class of this very test, which the other process cannot name to us.
        worker._feed(process, worker._written((eval, ["1", "type('Alien', (), {})"])), waiting, done)
    assert (sorted(waiting), everything(done)) == ([0, 1], [])
    assert "ended early" in caplog.text


def test_a_part_that_cannot_be_done_is_heard_of(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker.os, "cpu_count", lambda: 2)
    with pytest.raises(ZeroDivisionError):
        list(worker.side_by_side(divmod_by_one_less, list(range(12))))


def divmod_by_one_less(part: int) -> int:
    return 1 // (part - 1)


@pytest.mark.parametrize(("parts", "processors"), [(range(worker.WORTH_A_TWIN - 1), 2), (range(50), 1)])
def test_no_twin_is_begun_for_little_or_on_one_processor(
    parts: range, processors: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(worker.os, "cpu_count", lambda: processors)
    monkeypatch.setattr(worker, "_twin", lambda: pytest.fail("a twin was begun"))
    assert list(worker.side_by_side(operator.neg, parts)) == [(place, -place) for place in parts]
