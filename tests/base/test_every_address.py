"""Every address of the site answers on an empty book, whoever asks, and a number that is not there is not found."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

pytestmark = pytest.mark.django_db

NOT_THERE = {"key": "abc"}  # every other part of an address is a number
NUMBERS = (999_999, 10**24)


def addresses(within: Any = None, space: str = "") -> Iterator[tuple[str, URLPattern]]:
    for one in (within or get_resolver()).url_patterns:
        if isinstance(one, URLResolver):
            yield from addresses(one, f"{one.namespace}:" if one.namespace else space)
        elif one.name:
            yield f"{space}{one.name}", one


@pytest.mark.parametrize("who", ["keeper_client", "helper_client", "client"])
def test_every_address_answers_on_an_empty_book(who: str, request: pytest.FixtureRequest) -> None:
    visitor: Client = request.getfixturevalue(who)
    asked = 0
    for name, pattern in addresses():
        if name == "logout":  # whoever asked for it would be a stranger on all pages after it
            continue
        parts = pattern.pattern.converters
        for number in NUMBERS if parts else (0,):
            address = reverse(name, kwargs={part: NOT_THERE.get(part, number) for part in parts})
            for answer in (visitor.get(address), visitor.post(address)):
                assert answer.status_code < 500, (who, name)
                assert not parts or answer.status_code in (302, 403, 404, 405), (who, name, answer.status_code)
                # A phone that threw a tab away asks for the address of a form: it gets a page, never an empty one.
                assert answer.status_code != 405 or answer.wsgi_request.method == "POST", (who, name)
                if answer.status_code in (403, 404) and "text/html" in answer["Content-Type"]:
                    assert "<h1" in answer.content.decode(), (who, name)
                asked += 1
    assert asked > 200


@pytest.mark.parametrize(
    ("address", "page"),
    [
        ("/packing/7/send/", "/packing/7/"),
        ("/closures/3/remove/", "/closures/"),
        ("/tubs/12/crash/over/", "/tubs/12/crash/"),
        ("/logout/", "/"),
    ],
)
def test_the_address_of_a_form_leads_to_the_page_above(keeper_client: Client, address: str, page: str) -> None:
    assert keeper_client.get(address).headers["Location"] == page
