"""A spreadsheet's file is read however it was saved; what is no table gets a sentence that names the row."""

import pytest

from breeder.base.csv_import import Unreadable, decimal_of, rows_of
from breeder.carriers import rule_csv
from breeder.shipments import logger_csv
from breeder.weather import climatology

ROWS = [["month", "low_c", "high_c"], ["1", "-2,5", "4"], [], ["2", "0", "Höhe\nΖώο"]]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_a_file_is_read_however_it_was_saved(delimiter: str, ends: str, encoding: str) -> None:
    lines = [delimiter.join(f'"{cell}"' if set(cell) & set(",\n") else cell for cell in row) for row in ROWS]
    assert rows_of(ends.join(lines).encode(encoding)) == ROWS


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"a,b\n1,\xff", "Row 2: the file is not UTF-8 text"),
        ("a,b\nGr\u00fc\u00dfe,1".encode("cp1252"), "Row 2: the file is not UTF-8 text"),
        (b"a,b\n1,2\n\x00", "Row 3: there is a NUL byte"),
        (b"a,b\n" + b"x" * 200_000, "cannot be read as a table"),
    ],
)
def test_what_is_no_table_gets_a_sentence(content: bytes, said: str) -> None:
    with pytest.raises(Unreadable, match=said):
        rows_of(content)


def test_nothing_is_no_row() -> None:
    assert rows_of(b"") == []


def test_a_comma_before_the_decimals_and_a_typeset_minus_are_numbers() -> None:
    assert (decimal_of(" -2,5"), decimal_of("\u22123.25")) == (-2.5, -3.25)


def test_every_reader_of_files_takes_semicolons_and_decimal_commas() -> None:
    months, faults = climatology.read_months_csv(b"month;low_c;high_c\r\n1;-2,5;4\r\n")
    assert (faults, months[0].low_c) == ([], -2.5)
    log = logger_csv.read_logger(
        b"time;outside;inside\r2026-02-04 17:30;-2,5;20\r2026-02-04 17:45;-3;19,5\r", fahrenheit=False
    )
    assert log.bottle_c == (20.0, 19.5)


@pytest.mark.django_db
def test_a_rule_is_named_by_its_row_in_the_spreadsheet_though_rows_are_empty() -> None:
    file = b"taxon;destination;effect;citation\n\n;;;\nIsopoda;Narnia;allowed;a letter\n"
    with pytest.raises(rule_csv.FileRefused) as refused:
        rule_csv.rules_in(file)
    assert refused.value.messages[0].startswith("Row 4: ‘NARNIA’ is no country or state")
