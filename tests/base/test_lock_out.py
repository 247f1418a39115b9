"""Wrong passwords lock out whoever types them, and nobody else; the machine itself lets the keeper in again."""

import io
from typing import Any

import pytest
from django.conf import settings as kept_settings
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.test import Client, RequestFactory
from django.urls import reverse

from breeder.base.login_origin import address_of
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db

# Addresses that RFC 5737 and RFC 3849 keep for examples.
PROXY, STRANGER, HOME = "127.0.0.1", "203.0.113.9", "198.51.100.4"


def log_in(password: str, forwarded: str, name: str = "keeper") -> Any:
    headers = {"REMOTE_ADDR": PROXY} | ({"HTTP_X_FORWARDED_FOR": forwarded} if forwarded else {})
    return Client().post(reverse("login"), {"username": name, "password": password}, **headers)


def try_wrong(forwarded: str, times: int = kept_settings.AXES_FAILURE_LIMIT) -> Any:
    for number in range(times):
        answer = log_in("not it", forwarded.format(number))
    return answer


@pytest.fixture
def _behind_https(settings: Any) -> None:
    settings.HTTPS = True


@pytest.mark.usefixtures("keeper", "_behind_https")
class TestBehindHttps:
    def test_a_stranger_locks_out_only_himself(self) -> None:
        assert try_wrong(STRANGER).status_code == 429
        assert log_in(PASSWORD, STRANGER).status_code == 429
        assert log_in(PASSWORD, HOME).status_code == 302

    def test_made_up_addresses_before_the_last_one_help_nobody(self) -> None:
        assert try_wrong("10.0.0.{0}, 192.0.2.{0}, " + STRANGER).status_code == 429

    def test_a_whole_ipv6_network_is_one_caller(self) -> None:
        assert try_wrong("2001:db8:1:2:{0}::1").status_code == 429
        assert log_in(PASSWORD, "2001:db8:1:3::1").status_code == 302


@pytest.mark.usefixtures("keeper")
def test_without_https_no_word_of_a_caller_is_taken() -> None:
    assert try_wrong("192.0.2.{0}").status_code == 429


@pytest.mark.parametrize(
    ("forwarded", "counted"),
    [
        ("198.51.100.4", "198.51.100.4"),
        ("192.0.2.1, 198.51.100.4", "198.51.100.4"),
        ("192.0.2.1,198.51.100.4:4711", "198.51.100.4"),
        ("[2001:db8:1:2::9]:4711", "2001:db8:1:2::"),
        ("2001:db8:1:2::9", "2001:db8:1:2::"),
        ("::ffff:198.51.100.4", "198.51.100.4"),
        ("unknown", PROXY),
        ("", PROXY),
        ("198.51.100.4, <script>", PROXY),
    ],
)
def test_the_last_address_is_read_however_it_is_written(settings: Any, forwarded: str, counted: str) -> None:
    settings.HTTPS = True
    request = RequestFactory().get("/", REMOTE_ADDR=PROXY, HTTP_X_FORWARDED_FOR=forwarded)
    assert address_of(request) == counted


def test_the_machine_lets_in_again_and_the_page_names_the_command(keeper: User) -> None:
    answer = try_wrong("")
    assert answer.status_code == 429
    assert "manage.py unlock NAME" in answer.content.decode()
    printed = io.StringIO()
    call_command("unlock", "keeper", stdout=printed)
    assert printed.getvalue() == "keeper may log in again.\n"
    assert log_in(PASSWORD, "").status_code == 302


def test_nobody_of_that_name_can_be_let_in(keeper: User) -> None:
    with pytest.raises(CommandError, match="Nobody here is called 'Keeper'. Choose one of: keeper."):
        call_command("unlock", "Keeper")
