"""A second process shares long sums: it gives the same results, it stays alive, and no part is lost if it dies."""

import operator
import os
import signal
import subprocess
import sys
import time
from collections import deque
from collections.abc import Iterator
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import pytest

from breeder.base import worker

REPOSITORY = Path(__file__).resolve().parents[2]
NEGATED = [(index, -index) for index in range(12)]


@pytest.fixture(autouse=True)
def two_processors(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker.os, "cpu_count", lambda: 2)


@pytest.fixture
def new_process() -> Iterator[None]:
    """Let this test start a second process of its own, and the next test too."""
    worker.end_second_process()
    yield
    worker.end_second_process()


def feed(work: Any, parts: list[Any]) -> tuple[list[int], list[Any]]:
    """Give all parts to the second process; return the indexes it left and its results in the order they came."""
    waiting, done = deque(range(len(parts))), SimpleQueue[Any]()
    worker._feed([worker.pickle.dumps((work, part)) for part in parts], waiting, done)
    return list(waiting), list(worker._finished(done))


def second_pid() -> int:
    return worker._second_process().submit(os.getpid).result()


def test_the_second_process_does_the_waiting_parts_from_the_last_on() -> None:
    assert feed(operator.neg, [4, 5, 6]) == ([], [(2, -6), (1, -5), (0, -4)])


def test_what_a_part_prints_does_not_mix_with_the_results() -> None:
    assert feed(print, ["printed by a part", "and by another"]) == ([], [(1, None), (0, None)])


def test_every_part_is_done_once_by_either_process() -> None:
    assert sorted(worker.share_work(operator.neg, range(400))) == [(index, -index) for index in range(400)]


def test_both_processes_work_and_the_second_stays_for_the_next_list() -> None:
    first = {pid for _, pid in worker.share_work(slow_pid, list(range(12)))}
    second = {pid for _, pid in worker.share_work(slow_pid, list(range(12)))}
    assert first == second == {os.getpid(), second_pid()}


def slow_pid(_: int) -> int:
    return sum(os.getpid() for _ in range(200_000)) // 200_000


def test_the_second_process_imports_no_django(new_process: None) -> None:
    box_trials = "__import__('breeder.core.transit.box_trials')"
    names = worker._second_process().submit(eval, f"{box_trials} and sorted(__import__('sys').modules)").result()
    assert "breeder.core.transit.box_trials" in names
    assert [name for name in names if name.split(".")[0] in {"django", "sqlite3"}] == []
    rooms = {name.split(".")[1] for name in names if name.startswith("breeder.")}
    assert rooms == {"base", "core"}
    assert {name for name in names if name.startswith("breeder.base")} == {"breeder.base", "breeder.base.worker"}


def test_manage_py_brings_no_django_into_the_second_process() -> None:
    """A spawned process imports the first one's main module again."""
    code = (
        "import runpy, sys; runpy.run_path('manage.py', run_name='__mp_main__');"
        "sys.exit('django' in sys.modules and 'Django was imported')"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=REPOSITORY, check=False).returncode == 0


def test_a_process_that_dies_leaves_its_parts_to_the_first_and_a_new_one_starts(
    new_process: None, caplog: pytest.LogCaptureFixture
) -> None:
    pid = second_pid()
    assert feed(os._exit, [3, 3]) == ([0, 1], [])
    assert "The second process failed" in caplog.text
    assert sorted(worker.share_work(operator.neg, range(12))) == NEGATED
    assert second_pid() != pid


def test_a_killed_process_loses_no_part(new_process: None, caplog: pytest.LogCaptureFixture) -> None:
    os.kill(second_pid(), signal.SIGKILL)
    assert sorted(worker.share_work(operator.neg, range(12))) == NEGATED


def test_the_first_process_does_everything_if_no_second_one_can_start(
    new_process: None, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise OSError("no more processes")

    monkeypatch.setattr(worker, "ProcessPoolExecutor", refuse)
    assert sorted(worker.share_work(operator.neg, range(12))) == NEGATED
    assert "no more processes" in caplog.text


def test_the_second_process_ends_when_the_first_is_killed() -> None:
    code = (
        "import os\n"
        "from breeder.base import worker\n"
        "if __name__ == '__main__':\n"
        "    print(worker._second_process().submit(os.getpid).result(), flush=True)\n"
        "    input()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], cwd=REPOSITORY, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as first:
        assert first.stdout
        pid = int(first.stdout.readline())
        assert is_running(pid)
        first.kill()
    deadline = time.monotonic() + 20
    while is_running(pid) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not is_running(pid)


def is_running(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"


def test_a_result_that_cannot_be_read_loses_no_part(caplog: pytest.LogCaptureFixture) -> None:
    # A class made in the other process, which this one cannot import.
    assert feed(eval, ["1", "type('Alien', (), {})"]) == ([0, 1], [])
    assert "The second process failed" in caplog.text


def test_a_part_that_cannot_be_done_raises_here() -> None:
    with pytest.raises(ZeroDivisionError):
        list(worker.share_work(divide_by_part_minus_one, list(range(12))))


def divide_by_part_minus_one(part: int) -> int:
    return 1 // (part - 1)


@pytest.mark.parametrize(("parts", "processors"), [(range(worker.WORTH_SHARING - 1), 2), (range(50), 1)])
def test_no_second_process_starts_for_short_lists_or_on_one_processor(
    parts: range, processors: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(worker.os, "cpu_count", lambda: processors)
    monkeypatch.setattr(worker, "_second_process", lambda: pytest.fail("a second process was started"))
    assert list(worker.share_work(operator.neg, parts)) == [(index, -index) for index in parts]
