"""No test of this room reaches anything but this machine."""

from collections.abc import Iterator
from typing import Any

import pytest

from tests.weather.rogue import only_this_machine


@pytest.fixture(autouse=True)
def nowhere_else() -> Iterator[list[Any]]:
    with only_this_machine() as tried:
        yield tried
