"""Cells of a list for a spreadsheet: none of them is run as a formula there."""

import pytest

from breeder.base.csv_export import guarded


@pytest.mark.parametrize(
    "typed",
    [
        "=1+1", "+1", "-1", "@SUM(A1)", "\t=1+1", "\r=1+1",  # as OWASP lists them under "CSV Injection"
        " =1+1", "   @x", "\u00a0=1+1", "\u3000=1+1", "\ufeff=1+1", "\u200b=1+1", " \n=1+1",
        "\uff1d1+1", "\uff0b1", "\uff0d1", "\uff20x", " \uff1d1+1",
    ],
)  # fmt: skip
def test_what_a_spreadsheet_could_run_is_marked_as_text(typed: str) -> None:
    assert guarded(typed) == f"'{typed}"


@pytest.mark.parametrize("typed", ["", " ", "Ada Marsh", " Ada", "12 = twelve", "a@example.org", "'=1", -3, 2.5])
def test_all_else_stays_as_it_is(typed: object) -> None:
    assert guarded(typed) == typed
    assert guarded(None) == ""
