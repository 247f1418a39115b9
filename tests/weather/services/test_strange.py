"""Each part of an answer in turn has a wrong type or an impossible date: a clear failure or hours, no crash."""

import resource
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from breeder.weather.services.errors import BadResponse, ServiceTrouble
from breeder.weather.services.met import MetService
from breeder.weather.services.nws import NwsService
from breeder.weather.services.open_meteo import OpenMeteoService
from tests.weather import test_learning
from tests.weather.services import shapes
from tests.weather.services.shapes import END, HERE, NOW, answer
from tests.weather.services.test_extremes import FULL
from tests.weather.services.test_norway import COMPLETE

US, NORWAY, OPEN = NwsService("k@example.org"), MetService("k@example.org"), OpenMeteoService("k3y")
POINT = answer(shapes.point(), "point")
ROOM = 1 << 30  # bytes on top of what the tests use: an answer of a kilobyte must not need more

STRANGE: list[Any] = [
    None, "", [], {}, [[]], [None], True, -1, 10**400, 1e308, "NaN", "\0", {"value": None},
    "0001-01-01T00:00:00+23:00", "9999-12-31T23:00:00-05:00", "0001-01-01T00:00", "9999-12-31T23:00",
    "0001-01-01T00:00:00Z", "9999-12-31T23:00:00Z", "P9999W/0001-01-01T00:00:00Z", "9999-12-31T23:00:00Z/PT1H",
    "0001-01-01T00:00:00Z/9999-12-31T23:00:00Z",
]  # fmt: skip

READ: dict[str, tuple[Any, Callable[[Any], Any]]] = {
    "Norway": (COMPLETE, lambda document: NORWAY.parse((answer(document),), HERE, NOW)),
    "US grid": (FULL, lambda document: US.parse((POINT, answer(document, "grid")), HERE, NOW)),
    "US point": (shapes.point(), lambda document: US.build_requests(HERE, NOW, END, (answer(document, "point"),))),
    "Open-Meteo": (shapes.hourly(), lambda document: OPEN.parse((answer(document),), HERE, NOW)),
    "stations": (test_learning.NEAR, lambda document: test_learning.read(test_learning.observations(), document)),
    "reports": (test_learning.observations(), test_learning.read),
}


@pytest.fixture
def little_room() -> Iterator[None]:
    with open("/proc/self/statm") as statm:
        used = int(statm.read().split()[0]) * resource.getpagesize()
    before = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (used + ROOM, before[1]))
    yield
    resource.setrlimit(resource.RLIMIT_AS, before)


@pytest.mark.usefixtures("little_room")
@pytest.mark.parametrize("name", READ)
def test_no_part_of_any_kind_is_more_than_a_plain_trouble(name: str) -> None:
    document, read = READ[name]
    refused = []
    for path in shapes.part_paths(document):
        for strange in STRANGE:
            copy = shapes.without(document, ())
            inside = copy
            for step in path[:-1]:
                inside = inside[step]
            inside[path[-1]] = strange
            try:
                read(copy)
            except ServiceTrouble as trouble:
                refused.append(trouble.sentence)
    assert refused
    assert all(sentence.endswith(".") for sentence in refused)


def test_a_name_that_comes_twice_is_refused_wherever_it_stands() -> None:
    for body in (b'{"properties": 1, "properties": {}}', b'{"properties": {"timeseries": [{"time": 1, "time": 1}]}}'):
        with pytest.raises(BadResponse) as refused:
            NORWAY.parse((answer(body),), HERE, NOW)
        assert refused.value.kind == "broken"
