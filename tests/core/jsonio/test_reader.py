"""JSON documents: every fault at once, each with its place; what counts as a number and what does not."""

import json
from typing import Any

import pytest

from breeder.core.jsonio.document_reader import Reader
from breeder.core.jsonio.duplicate_keys import load
from breeder.core.jsonio.errors import BadInput


def faults(read: Any, text: str) -> dict[str, str]:
    reader = Reader(load(text))
    read(reader)
    with pytest.raises(BadInput) as refused:
        reader.finish()
    return {fault.path: fault.sentence for fault in refused.value.faults}


def test_all_faults_come_at_once_each_with_its_place() -> None:
    def read(reader: Reader) -> None:
        reader.number("a")
        inner = reader.object("box")
        inner.numbers("inner_m", above=0)
        for row in inner.objects("layers"):
            row.number("mm", above=0)
            row.done()
        inner.done()

    text = '{"a": "x", "b": 1, "box": {"inner_m": [0.2, -1, null], "layers": [{"mm": 4}, {"mm": true, "cm": 1}]}}'
    assert set(faults(read, text)) == {
        "a",
        "b",
        "box.inner_m[1]",
        "box.inner_m[2]",
        "box.layers[1].mm",
        "box.layers[1].cm",
    }


def test_a_repeated_key_is_a_fault_at_any_depth() -> None:
    refusals = faults(lambda reader: (reader.number("a"), reader.value("free")), '{"a":1,"a":2,"free":{"x":1,"x":1}}')
    assert set(refusals) == {"a", "free.x"}


@pytest.mark.parametrize(
    "text", ["true", "NaN", "Infinity", "-Infinity", "1e999", '"3"', "null", "[1]", "1" + "0" * 400]
)
def test_what_is_no_number_is_refused(text: str) -> None:
    assert set(faults(lambda reader: reader.number("n"), f'{{"n": {text}}}')) == {"n"}


def test_ten_point_zero_counts_as_ten_and_ten_and_a_half_does_not() -> None:
    reader = Reader(load('{"n": 10.0, "m": 3}'))
    assert (reader.whole("n"), reader.whole("m")) == (10, 3)
    reader.finish()
    assert set(faults(lambda reader: reader.whole("n"), '{"n": 10.5}')) == {"n"}


def test_bounds_are_named_in_the_sentence() -> None:
    refusals = faults(lambda reader: reader.number("n", low=0, below=1), '{"n": 1}')
    assert refusals == {"n": "It is 1, but it must be below 1."}


def test_a_missing_object_is_one_fault_not_one_for_each_of_its_fields() -> None:
    def read(reader: Reader) -> None:
        inner = reader.object("box")
        inner.number("a")
        inner.exactly_one(("b", "c"))
        inner.done()

    assert faults(read, "{}") == {"box": "This field is missing."}


def test_exactly_one_of_several_fields() -> None:
    assert "none of them" in faults(lambda reader: reader.exactly_one(("a", "b")), "{}")["document"]
    assert "a and b are there" in faults(lambda reader: reader.exactly_one(("a", "b")), '{"a":1,"b":1}')["document"]


@pytest.mark.parametrize("text", ["", "{", "[1]", "3", '{"a": }', "[" * 100_000, '{"n": ' + "9" * 5000 + "}"])
def test_what_is_no_document_is_refused_in_one_sentence(text: str) -> None:
    with pytest.raises(BadInput) as refused:
        load(text)
    (fault,) = refused.value.faults
    assert fault.path == "document"
    assert fault.sentence.endswith(".")


def test_a_fault_fits_on_one_line_whatever_the_key() -> None:
    text = json.dumps({"two\nlines": 1, "": 2})
    for path, sentence in faults(lambda reader: None, text).items():
        assert "\n" not in path + sentence


def test_null_may_stand_for_a_missing_value_in_rows_only() -> None:
    reader = Reader(load('{"rows": [[1, null], [2, 3]]}'))
    rows = reader.rows("rows")
    reader.finish()
    assert rows[1] == [2, 3]
    assert rows[0][1] != rows[0][1]  # NaN
