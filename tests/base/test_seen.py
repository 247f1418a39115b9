"""Two browsers open the same page: the second to save is told what the first changed, and nothing is lost."""

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from breeder.base import queries, views
from breeder.base.models import LogRow, Setting
from tests.build import line, person
from tests.orders.stand import counted_line, pack

pytestmark = pytest.mark.django_db


def opened(client: Client, address: str) -> dict[str, Any]:
    """Return what a browser would send back untouched."""
    form = client.get(address).context["form"]
    shown = {name: form[name].value() for name in form.fields}
    return {name: "" if value is None else value for name, value in shown.items() if value is not False}


def test_what_somebody_else_changed_meanwhile_is_named_and_not_overwritten(keeper: User) -> None:
    of = line("Harbour", locality="Old wall")
    address = reverse("species:line_edit", args=[of.pk])
    first, second = Client(), Client()
    for browser in (first, second):
        browser.force_login(keeper)
    mine, theirs = opened(first, address), opened(second, address)
    assert first.post(address, mine | {"locality": "New wall"}).status_code == 302
    answer = second.post(address, theirs | {"provenance": "swapped for two cups"})
    said = answer.content.decode()
    assert answer.status_code == 422
    assert "‘Locality’ was changed since you opened this page" in said
    assert "‘New wall’" in said
    assert "swapped for two cups" in said
    # Looked at again, it is sent as it now stands on the page.
    again = opened_again(answer)
    assert second.post(address, again | {"locality": "New wall"}).status_code == 302
    of.refresh_from_db()
    assert (of.locality, of.provenance) == ("New wall", "swapped for two cups")


@pytest.mark.parametrize(
    ("page", "theirs", "slip"),
    [
        ("orders:offer_edit", {"price": "31.00"}, {"price": "much"}),
        ("cultures:tub_not_for_sale", {"not_for_sale": "all dead"}, {"because": "x" * 161}),
        ("cultures:line_minimum", {"young_kept": 80}, {"young_kept": "many"}),
    ],
)
def test_a_slip_on_the_page_does_not_hide_what_somebody_else_changed(
    keeper_client: Client, page: str, theirs: dict[str, Any], slip: dict[str, str]
) -> None:
    offer = pack(counted_line("Rook", 40))
    rows = {"orders:offer_edit": offer, "cultures:line_minimum": offer.line}
    row = rows.get(page) or offer.line.cultures.get()
    address = reverse(page, args=[getattr(row, "number", 0) if page.startswith("cultures:tub") else row.pk])
    mine = opened(keeper_client, address) | {"reason": "more room"}
    type(row).objects.filter(pk=row.pk).update(**theirs)
    slipped = keeper_client.post(address, mine | slip)
    assert (slipped.status_code, "was changed since" in slipped.content.decode()) == (422, False)
    stale = keeper_client.post(address, mine | {"seen": slipped.context["form"]["seen"].value()})
    assert (stale.status_code, "was changed since" in stale.content.decode()) == (422, True)
    # Looked at again, it is sent as it now stands on the page.
    assert keeper_client.post(address, mine | {"seen": stale.context["form"]["seen"].value()}).status_code == 302


def test_a_key_that_somebody_else_set_meanwhile_stays_though_the_page_never_shows_it(keeper_client: Client) -> None:
    Setting.objects.create(pk=Setting.ONLY)
    address = reverse("base:settings")
    typed = opened(keeper_client, address) | {"trade_name": "Bark & Leaf"}
    household = queries.household

    def set_meanwhile() -> Setting:
        read = household()
        Setting.objects.update(weather_key="k3y")
        return read

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(views, "household", set_meanwhile)
        assert keeper_client.post(address, typed).status_code == 302
    kept = Setting.objects.get()
    assert (kept.trade_name, kept.weather_key) == ("Bark & Leaf", "k3y")


def test_settings_that_are_sent_twice_are_no_conflict_with_themselves(keeper_client: Client) -> None:
    Setting.objects.create(pk=Setting.ONLY)
    address = reverse("base:settings")
    sent = opened(keeper_client, address) | {"trade_name": "Bark & Leaf", "token": "a"}
    assert [keeper_client.post(address, sent).status_code for _ in range(2)] == [302, 302]
    assert LogRow.objects.filter(did="settings changed").count() == 1


def opened_again(answer: Any) -> dict[str, Any]:
    form = answer.context["form"]
    return {name: form[name].value() or "" for name in form.fields if form[name].value() is not False}


@pytest.mark.parametrize("kind", ["setting", "person", "species", "offer"])
def test_a_page_that_nobody_else_touched_is_saved(keeper_client: Client, kind: str) -> None:
    if kind == "setting":
        Setting.objects.get_or_create(pk=Setting.ONLY)
        address, changed = reverse("base:settings"), {"trade_name": "Bark & Leaf"}
    elif kind == "person":
        address, changed = reverse("people:edit", args=[person().pk]), {"name": "Bo Reed"}
    elif kind == "species":
        address, changed = reverse("species:species_edit", args=[line().species_id]), {"brood": "31"}
    else:
        address, changed = reverse("orders:offer_edit", args=[pack(counted_line("Rook", 40)).pk]), {"price": "31.00"}
    before = opened(keeper_client, address)
    assert keeper_client.post(address, before | changed).status_code == 302
    stale = keeper_client.post(address, before | changed)
    assert stale.status_code == 422
    assert "was changed since you opened this page" in stale.content.decode()
