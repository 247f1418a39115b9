"""The demo loads, shows every verdict, a short line and a count due."""

import re

import pytest

from tests.journeys.conftest import Demo

# Whichever processor has a demo.
pytestmark = pytest.mark.xdist_group("day")


def test_the_demo_prints_two_plain_tables_with_every_verdict(demo: Demo) -> None:
    for verdict in ("Go ", "Go with pack", "No-go", "Not decided"):
        assert re.search(rf"^box \d+ .*  {verdict}", demo.printed, re.MULTILINE), verdict
    assert "short by" in demo.printed
    assert demo.printed.startswith("What can be sold\n")
    assert "\nParcels\n" in demo.printed


def test_the_demo_keeps_a_breeder_of_some_size(demo: Demo) -> None:
    sold = demo.printed.split("\nParcels\n")[0].splitlines()[3:]
    assert len({re.split(r"\s{2,}", row)[0] for row in sold if row.strip()}) >= 24
    assert sum(row.split()[-1] != "never" for row in sold if row.strip()) >= 40
