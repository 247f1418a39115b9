"""Put what the book says to a form next to the button that was pressed, with and without script.

Every form carries the name of its place (the tag `reply`). A message that an action leaves keeps that name, through a
redirect too. The next page shows it in the form of that name, or at the top where it has no such form. The address that
a form is sent to ends in `#reply`, so a browser scrolls there by itself.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from django.contrib.messages import get_messages
from django.contrib.messages.storage.base import Message
from django.contrib.messages.storage.session import SessionStorage
from django.core.exceptions import NON_FIELD_ERRORS
from django.forms import BaseForm
from django.http import HttpRequest

FIELD = "reply_at"
LONGEST_PLACE = 120
MOST_FAULTS = 6  # a form may have hundreds of fields; each also shows its own fault


class PlacedMessages(SessionStorage):
    """Messages that remember which form they answer."""

    def add(self, level: int, message: str, extra_tags: str = "") -> None:
        super().add(level, message, extra_tags or pressed_place(self.request))


def pressed_place(request: HttpRequest | None) -> str:
    """Return the place of the form that was sent; empty for a page that is only looked at."""
    return request.POST.get(FIELD, "")[:LONGEST_PLACE] if request is not None and request.method == "POST" else ""


@dataclass(frozen=True)
class Fault:
    """What is wrong with one field, and where that field is; of the whole form when it has no label."""

    sentence: str
    label: str = ""
    field_id: str = ""


@dataclass(frozen=True)
class Reply:
    """What is said at one place."""

    messages: list[Message]
    faults: list[Fault]
    more: int = 0

    @property
    def is_refusal(self) -> bool:
        return bool(self.faults) or any(message.level_tag == "error" for message in self.messages)

    def __bool__(self) -> bool:
        return bool(self.messages or self.faults)


class Replies:
    """The messages of one page; each is shown once, and only one place has the reader's eye."""

    def __init__(self, request: HttpRequest | None) -> None:
        self.pressed = pressed_place(request)
        self._left = list(get_messages(request)) if request is not None else []
        self.is_shown = False

    def waits_at(self, place: str) -> bool:
        """Return whether something is to be said at a place."""
        return bool(place) and (self.pressed == place or any(message.extra_tags == place for message in self._left))

    def take(self, place: str, forms: Iterable[Any] = ()) -> Reply:
        """Return what is said at a place, which is then said; `forms` are those that were sent from there."""
        if self.is_shown:
            return Reply([], [])
        taken = [message for message in self._left if message.extra_tags == place]
        # A form that names no place (a page from before an update) is answered where its faults are.
        faults = faults_of(forms) if self.pressed in (place, "") else []
        self._left = [message for message in self._left if message.extra_tags != place]
        self.is_shown = bool(taken or faults)
        return Reply(taken, faults[:MOST_FAULTS], max(0, len(faults) - MOST_FAULTS))

    def rest(self) -> list[Message]:
        """Return the messages that no form on the page took."""
        return self._left


def replies_of(request: HttpRequest | None) -> Replies:
    """Return the replies of the page that is being made; messages are read once."""
    if request is None:
        return Replies(None)
    if not hasattr(request, "replies"):
        request.replies = Replies(request)  # type: ignore[attr-defined]
    return request.replies  # type: ignore[attr-defined, no-any-return]


def faults_of(forms: Iterable[Any]) -> list[Fault]:
    """Return the faults of forms as they were sent, those of a whole form first."""
    sent = [form for form in _flat(forms) if isinstance(form, BaseForm) and form.is_bound]
    whole = [Fault(sentence, getattr(form, "about", "")) for form in sent for sentence in form.non_field_errors()]
    return whole + [
        Fault(sentence, _label(form, name), form[name].id_for_label or form[name].auto_id)
        for form in sent
        for name, sentences in form.errors.items()
        if name != NON_FIELD_ERRORS
        for sentence in sentences
    ]


def _flat(forms: Iterable[Any]) -> Iterator[Any]:
    """Yield forms one by one; the rows of a table come as a list."""
    for form in forms:
        if isinstance(form, (list, tuple)):
            yield from form
        else:
            yield form


def _label(form: BaseForm, name: str) -> str:
    about = getattr(form, "about", "")
    label = str(form[name].label)
    return f"{about}, {label[:1].lower()}{label[1:]}" if about else label
