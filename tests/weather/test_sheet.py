"""A file of hours is read whole; faults name row, value and remedy; nothing is kept by halves."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from breeder.weather.hours_csv import SheetRefused, read_hours_csv

NEW_YORK = ZoneInfo("America/New_York")
UTC_ZONE = ZoneInfo("UTC")


def sheet(*rows: str, head: str = "time,temp_c") -> bytes:
    return "\n".join([head, *rows]).encode()


def refused(content: bytes, **how: object) -> list[str]:
    with pytest.raises(SheetRefused) as caught:
        read_hours_csv(content, **({"zone": UTC_ZONE} | how))  # type: ignore[arg-type]
    return list(caught.value.messages)


def test_times_with_an_offset_or_z_are_taken_at_their_word() -> None:
    got = read_hours_csv(sheet("2026-03-07T14:00Z,11.4", "2026-03-07 10:00-05:00,11.9"), zone=NEW_YORK)
    assert got == [(datetime(2026, 3, 7, 14, tzinfo=UTC), 11.4), (datetime(2026, 3, 7, 15, tzinfo=UTC), 11.9)]


def test_times_without_an_offset_are_read_in_the_chosen_zone() -> None:
    assert read_hours_csv(sheet("2026-03-07 09:00,1"), zone=NEW_YORK)[0][0] == datetime(2026, 3, 7, 14, tzinfo=UTC)


def test_semicolons_decimal_commas_and_a_byte_order_mark_are_read() -> None:
    content = b"\xef\xbb\xbf" + sheet("2026-03-07T14:00Z;-3,5", head="Time;Temp_C")
    assert read_hours_csv(content, zone=UTC_ZONE) == [(datetime(2026, 3, 7, 14, tzinfo=UTC), -3.5)]


def test_fahrenheit_is_turned_to_celsius_by_column_name_or_by_choice() -> None:
    by_name = read_hours_csv(sheet("2026-03-07T14:00Z,50", head="time,temp_f"), zone=UTC_ZONE)
    by_choice = read_hours_csv(sheet("2026-03-07T14:00Z,50", head="time,temp"), zone=UTC_ZONE, unit="f")
    assert by_name == by_choice
    assert by_name[0][1] == pytest.approx(10.0)


def test_a_missing_hour_stays_missing() -> None:
    got = read_hours_csv(sheet("2026-03-07T14:00Z,1", "2026-03-07T15:00Z,", "2026-03-07T16:00Z,M"), zone=UTC_ZONE)
    assert [value for _, value in got] == [1.0, None, None]


@pytest.mark.parametrize(
    "content, sentence",
    [
        (sheet("2026-03-07T14:00Z,1", head="zeit,wert"), "Row 1: the columns are 'zeit', 'wert'"),
        (sheet("2026-03-07T14:00Z,1", head="time,temp"), "does not name its unit"),
        (sheet("2026-03-07T14:00Z,1\x00"), "Row 2: there is a NUL byte"),
        (sheet("2026-03-07T14:00Z,80"), "Row 2: 80.0 °C is not an air temperature. If it was meant in °F, choose °F"),
        (sheet("2026-03-07T14:00Z,50"), "Row 2: 50.0 °C is hotter than air almost ever is"),
        (sheet("2026-03-07T14:00Z,warm"), "Row 2: 'warm' is not a temperature"),
        (sheet("2026-03-07T14:00Z,inf"), "Row 2: 'inf' is not a temperature"),
        (sheet("7 March,1"), "Row 2: '7 March' is not a time"),
        (sheet("2026-03-07,1"), "Row 2: '2026-03-07' is not a time"),
        (sheet("2026-03-07T14:00Z,1", "2026-03-07T14:00Z,2"), "Row 3: 2026-03-07T14:00Z was given before, in row 2"),
        (sheet("2026-03-07T14:00Z,3,4"), "Row 2: 3 cells under 2 columns"),
        (sheet("2026-03-07T14:00Z,20", "2026-03-07T15:00Z,-5"), "Row 3: the air moves by 25 °C within an hour"),
        (sheet("2025-03-07T14:00Z,20", "2026-07-07T15:00Z,-5"), "more than 400 days"),
        (sheet(), "holds no temperatures"),
        (b"", "begins with an empty line"),
        (b"time,temp_c\n2026-03-07T14:00Z,\xff", "Row 2: the file is not UTF-8 text"),
    ],
)
def test_faults_are_named_with_row_value_and_remedy(content: bytes, sentence: str) -> None:
    assert any(sentence in message for message in refused(content))


def test_a_local_time_that_the_clocks_skip_is_refused_with_its_row() -> None:
    assert refused(sheet("2026-03-08 02:30,1"), zone=NEW_YORK)[0].startswith(
        "Row 2: 2026-03-08 02:30 does not exist in America/New_York"
    )


@pytest.mark.parametrize("time", ["9999-12-31 23:00", "0001-01-01 00:00", "0001-01-01T00:00+05:00"])
def test_a_year_that_stands_for_no_time_is_refused_with_its_row(time: str) -> None:
    assert refused(sheet(f"{time},1"), zone=NEW_YORK) == [
        f"Row 2: the year of {time} is not between 1900 and 2100. Mend it."
    ]


def test_the_hour_that_comes_twice_is_read_twice_and_not_thrice() -> None:
    twice = ["2026-11-01 01:00,5", "2026-11-01 01:00,4"]
    got = read_hours_csv(sheet(*twice), zone=NEW_YORK)
    assert [at for at, _ in got] == [datetime(2026, 11, 1, 5, tzinfo=UTC), datetime(2026, 11, 1, 6, tzinfo=UTC)]
    assert "was given before" in refused(sheet(*twice, "2026-11-01 01:00,3"), zone=NEW_YORK)[0]


def test_lord_howe_moves_its_clocks_by_half_an_hour() -> None:
    zone = ZoneInfo("Australia/Lord_Howe")
    got = read_hours_csv(sheet("2026-04-05 01:45,20", "2026-04-05 01:45,19"), zone=zone)
    assert (got[1][0] - got[0][0]).total_seconds() == 1800


def test_no_more_than_ten_faults_are_shown_and_the_rest_counted() -> None:
    sentences = refused(sheet(*["never,1"] * 23))
    assert len(sentences) == 11
    assert sentences[-1].startswith("13 more rows have faults")


def test_ten_thousand_rows_are_taken_and_one_more_is_not() -> None:
    rows = [
        f"2026-01-{day:02d}T{hour:02d}:{minute:02d}Z,5"
        for day in range(1, 29)
        for hour in range(24)
        for minute in range(0, 60, 4)
    ]
    assert len(read_hours_csv(sheet(*rows[:10_000]), zone=UTC_ZONE)) == 10_000
    assert "more than 10,000 rows" in refused(sheet(*rows[:10_001]))[0]


def test_a_confirmed_unit_lets_a_heat_wave_through_but_no_sauna() -> None:
    assert read_hours_csv(sheet("2026-07-07T21:00Z,49"), zone=UTC_ZONE, sure=True)[0][1] == 49.0
    assert "not an air temperature" in refused(sheet("2026-07-07T21:00Z,80"), sure=True)[0]


def test_a_file_and_a_form_that_name_two_units_are_asked_about() -> None:
    assert "names another unit" in refused(sheet("2026-03-07T14:00Z,1"), unit="f")[0]


@pytest.mark.parametrize(
    "typed",
    [
        ("3/7/2026 12:00 AM", "3/7/2026 2:05 PM"),
        ("03/07/26 12:00:00 am", "03/07/26 02:05:00 p.m."),
        ('"3/7/2026, 12:00\u202fAM"', '"3/7/2026, 2:05\u202fPM"'),  # as browsers write it
        ("2026-03-07 12:00AM", "2026-03-07 2:05PM"),
    ],
)
def test_twelve_hour_times_are_read_with_the_month_first(typed: tuple[str, str]) -> None:
    got = read_hours_csv(sheet(*(f"{at},1" for at in typed)), zone=UTC_ZONE)
    assert [at for at, _ in got] == [datetime(2026, 3, 7, tzinfo=UTC), datetime(2026, 3, 7, 14, 5, tzinfo=UTC)]


@pytest.mark.parametrize("typed", ["3/7/2026 13:00 PM", "3/7/2026 0:30 AM", "13/7/2026 1:00 PM", "3/7/2026 14:00"])
def test_a_twelve_hour_time_that_is_none_is_refused_with_its_row(typed: str) -> None:
    assert refused(sheet(f"{typed},1"))[0].startswith(f"Row 2: '{typed}' is not a time. Write it as")


def test_the_day_may_have_a_column_of_its_own() -> None:
    got = read_hours_csv(sheet("3/7/2026,2:05 PM,1", "2026-03-08,14:05,2", head="Date,Time,temp_c"), zone=UTC_ZONE)
    assert [at for at, _ in got] == [datetime(2026, 3, day, 14, 5, tzinfo=UTC) for day in (7, 8)]
