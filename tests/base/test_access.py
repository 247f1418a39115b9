"""Passwords, helpers and sessions: who may do what, and who is logged out by it at once."""

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from breeder.base import access, form_tokens, sessions
from breeder.base.models import LogRow, Token
from breeder.base.roles import HELPER, KEEPER
from tests.conftest import PASSWORD, user_in

pytestmark = pytest.mark.django_db

OTHER = "a quiet box of millipedes"
FIREFOX = "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0"
PHONE = (
    "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) "
    "Version/18.5 Mobile/15E148 Safari/604.1"
)
CHROME = (
    "Mozilla/5.0 (Linux; Android 10; K) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/139.0.0.0 Mobile Safari/537.36"
)


def logged_in(name: str, password: str = PASSWORD, agent: str = "") -> Client:
    client = Client(headers={"User-Agent": agent})
    client.post(reverse("login"), {"username": name, "password": password})
    return client


def is_inside(client: Client) -> bool:
    return client.get(reverse("base:book")).status_code == 200


def text(answer: Any) -> str:
    return str(answer.content.decode())


class TestOwnPassword:
    typed = {"old_password": PASSWORD, "new_password1": OTHER, "new_password2": OTHER}

    @pytest.mark.parametrize("role", [KEEPER, HELPER])
    def test_a_new_password_ends_all_sessions_but_this_one(self, role: str) -> None:
        user_in(role, "bo")
        here, there = logged_in("bo"), logged_in("bo")
        answer = here.post(reverse("base:password"), self.typed, follow=True)
        assert "Your password is changed. You stay logged in here" in text(answer)
        assert (is_inside(here), is_inside(there)) == (True, False)
        assert (is_inside(logged_in("bo", OTHER)), is_inside(logged_in("bo"))) == (True, False)
        row = LogRow.objects.get(did="password changed")
        assert (row.sentence, row.by) == ("bo has a new password.", User.objects.get())
        assert OTHER not in str(row.facts)

    @pytest.mark.parametrize(
        ("changed", "sentence"),
        [
            ({"old_password": "not it"}, "Your old password was entered incorrectly"),
            ({"new_password2": "something else entirely"}, "The two password fields didn’t match"),
            ({"new_password1": "short", "new_password2": "short"}, "must contain at least 10 characters"),
            ({"new_password1": "keeper1234", "new_password2": "keeper1234"}, "too similar to the username"),
            ({"new_password1": "1234567890", "new_password2": "1234567890"}, "too common"),
            ({"new_password1": ""}, "‘New password’ is empty. Fill it in."),
        ],
    )
    def test_a_password_that_does_not_do_is_refused_beside_its_field(
        self, keeper: User, changed: dict[str, str], sentence: str
    ) -> None:
        client = logged_in("keeper")
        answer = client.post(reverse("base:password"), self.typed | changed)
        assert answer.status_code == 422
        page = text(answer).replace("&#x27;", "'").replace("&#39;", "'")
        assert sentence in page
        assert f'value="{OTHER}"' not in page
        keeper.refresh_from_db()
        assert keeper.check_password(PASSWORD)


class TestSessions:
    def test_each_is_shown_with_its_browser_and_may_be_ended(self, helper: User) -> None:
        here, phone = logged_in("helper", agent=FIREFOX), logged_in("helper", agent=PHONE)
        page = text(here.get(reverse("base:sessions")))
        assert "Firefox on Linux" in page
        assert "Safari on an iPhone" in page
        # What the page holds of a session does not open it.
        assert phone.session.session_key not in page
        other = next(row for row in sessions.open_sessions(helper, here.session.session_key) if not row.is_this)
        answer = here.post(reverse("base:sessions"), {"mark": other.mark}, follow=True)
        assert "One session is ended." in text(answer)
        assert (is_inside(here), is_inside(phone)) == (True, False)

    def test_all_the_others_may_be_ended_at_once(self, helper: User, keeper: User) -> None:
        here, others = logged_in("helper"), [logged_in("helper") for _ in range(3)]
        another = logged_in("keeper")
        assert "3 sessions are ended." in text(here.post(reverse("base:sessions"), follow=True))
        assert [is_inside(one) for one in (here, another, *others)] == [True, True, False, False, False]

    def test_nobody_ends_the_session_of_another(self, helper: User, keeper: User) -> None:
        keeping, helping = logged_in("keeper"), logged_in("helper")
        mark = sessions.open_sessions(keeper)[0].mark
        answer = helping.post(reverse("base:sessions"), {"mark": mark}, follow=True)
        assert "There was nothing to end" in text(answer)
        assert is_inside(keeping)

    def test_a_session_from_before_this_was_noted_is_shown_too(self, keeper: User) -> None:
        old = Client()
        old.force_login(keeper)
        store = old.session
        for key in (sessions.BEGUN, sessions.BROWSER):
            store.pop(key, None)
        store.save()
        page = text(logged_in("keeper").get(reverse("base:sessions")))
        assert "An unknown browser" in page
        assert "sometime in the last 30 days" in page

    @pytest.mark.parametrize(
        ("agent", "words"),
        [
            (FIREFOX, "Firefox on Linux"),
            (PHONE, "Safari on an iPhone"),
            (CHROME, "Chrome on Android"),
            ("curl/8.5.0", "an unknown browser"),
            ("", "an unknown browser"),
            ("<script>" * 1000, "an unknown browser"),
        ],
    )
    def test_a_browser_is_told_in_words(self, agent: str, words: str) -> None:
        """The headers as these browsers send them, from memory."""
        assert sessions.browser_words(agent) == words


class TestHelpers:
    added = {"username": "bo", "password1": OTHER, "password2": OTHER}

    def test_the_keeper_adds_one_who_may_log_in(self, keeper_client: Client) -> None:
        answer = keeper_client.post(reverse("base:helpers"), self.added, follow=True)
        assert "bo may log in." in text(answer)
        helper = logged_in("bo", OTHER)
        assert is_inside(helper)
        assert helper.get(reverse("base:settings")).status_code == 403
        assert LogRow.objects.get(did="person added").sentence == "bo may log in as a helper."

    def test_a_form_that_is_sent_twice_adds_one_and_says_so(self, keeper_client: Client) -> None:
        sent = self.added | {"token": form_tokens.new_token()}
        answers = [keeper_client.post(reverse("base:helpers"), sent) for _ in range(2)]
        assert [(answer.status_code, answer["Location"]) for answer in answers] == [(302, reverse("base:helpers"))] * 2
        assert "bo may log in." in text(keeper_client.get(answers[1]["Location"]))
        assert User.objects.filter(username="bo").count() == 1
        assert OTHER not in str(Token.objects.values_list().get())

    @pytest.mark.parametrize(
        ("changed", "sentence"),
        [
            ({"username": "helper"}, "There is already somebody called 'helper'. Choose another name."),
            ({"username": "Helper"}, "There is already somebody called 'Helper'. Choose another name."),
            ({"username": ""}, "‘Name’ is empty. Fill it in."),
            ({"username": "b o"}, "Enter a valid username"),
            ({"password1": "short", "password2": "short"}, "must contain at least 10 characters"),
            ({"password2": "something else"}, "didn’t match"),
        ],
    )
    def test_a_name_or_password_that_does_not_do_is_refused(
        self, keeper_client: Client, helper: User, changed: dict[str, str], sentence: str
    ) -> None:
        answer = keeper_client.post(reverse("base:helpers"), self.added | changed)
        assert answer.status_code == 422
        assert sentence in text(answer).replace("&#x27;", "'")
        assert User.objects.count() == 2

    def test_ended_access_is_over_at_once_and_may_be_given_back(self, keeper_client: Client, helper: User) -> None:
        out, page = logged_in("helper"), reverse("base:helper", args=[helper.pk])
        assert is_inside(out)
        answer = keeper_client.post(reverse("base:helper_end", args=[helper.pk]), follow=True)
        assert "helper is logged out everywhere and may no longer log in." in text(answer)
        assert not is_inside(out)
        assert not is_inside(logged_in("helper"))
        assert sessions.open_sessions(helper) == []
        back = keeper_client.post(page, {"new_password1": OTHER, "new_password2": OTHER}, follow=True)
        assert "has a new password" in text(back)
        assert is_inside(logged_in("helper", OTHER))
        assert not is_inside(out)
        assert User.objects.get(pk=helper.pk) == helper

    def test_a_new_password_logs_out_and_lifts_a_lock_out(
        self, keeper_client: Client, helper: User, settings: Any
    ) -> None:
        out = logged_in("helper")
        for _ in range(settings.AXES_FAILURE_LIMIT):
            logged_in("helper", "not it")
        page = reverse("base:helper", args=[helper.pk])
        keeper_client.post(page, {"new_password1": OTHER, "new_password2": OTHER})
        assert not is_inside(out)
        assert is_inside(logged_in("helper", OTHER))

    def test_a_keeper_is_no_helper_whose_access_could_be_ended(self, keeper_client: Client) -> None:
        other = user_in(KEEPER, "second")
        for name in ("helper", "helper_end"):
            assert keeper_client.post(reverse(f"base:{name}", args=[other.pk])).status_code == 404
        other.refresh_from_db()
        assert other.is_active

    def test_the_command_and_the_page_keep_one_list(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("BREEDER_HELPER_PASSWORD", OTHER)
        call_command("add_helper", "cy")
        assert [one.username for one in access.helpers()] == ["cy"]


def test_only_the_keeper_reaches_helpers_and_backups(
    keeper_client: Client, helper_client: Client, client: Client, helper: User
) -> None:
    of_one = [reverse(f"base:{name}", args=[helper.pk]) for name in ("helper", "helper_end")]
    for page in [reverse(f"base:{name}") for name in ("helpers", "backup", "backup_file")] + of_one:
        for ask in ("get", "post"):
            refused = getattr(helper_client, ask)(page)
            assert refused.status_code == (302 if page.endswith("/end/") and ask == "get" else 403), page
            assert getattr(client, ask)(page).headers["Location"].startswith("/login/"), page
        assert keeper_client.get(page).status_code in (200, 302, 404), page
    helper.refresh_from_db()
    assert helper.is_active


@pytest.mark.parametrize("page", ["password", "sessions"])
def test_everybody_reaches_their_own_password_and_sessions(
    page: str, keeper_client: Client, helper_client: Client, client: Client
) -> None:
    address = reverse(f"base:{page}")
    assert keeper_client.get(address).status_code == helper_client.get(address).status_code == 200
    assert client.get(address).headers["Location"].startswith("/login/")
    assert address in text(helper_client.get(reverse("base:book")))


def test_nobody_who_is_not_logged_in_makes_a_session(client: Client) -> None:
    """The list of sessions looks through all of them: strangers must not be able to make it long."""
    for page in (reverse("login"), reverse("storefront:public"), reverse("base:book"), "/no/such/page/"):
        client.get(page)
        client.post(page, {"username": "x", "password": "y"})
    assert not Session.objects.exists()
