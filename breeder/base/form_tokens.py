"""One-time tokens: a double click, a back button or a resent round does the thing once."""

import secrets

from django.db import IntegrityError, transaction
from django.utils import timezone

from breeder.base.models import Token

KEY_LENGTH, LONGEST_ANSWER = 40, 300


class AlreadyDone(Exception):
    """The form with this token was done before; `answer` is the page that its first sending led to, `at` when."""

    def __init__(self, token: Token) -> None:
        super().__init__(token.answer)
        self.answer, self.at = token.answer, token.at


def new_token() -> str:
    """Return a token for one form."""
    return secrets.token_urlsafe(18)


def seen(key: str) -> None:
    """Raise AlreadyDone if this form was done before; call it first in a view, so that old faults are not shown."""
    if key and (token := Token.objects.filter(pk=_kept(key)).first()):
        raise AlreadyDone(token)


def spend(key: str, answer: str) -> None:
    """Use up a token inside the action's transaction, last of all. Raises AlreadyDone if another sending won.

    An empty key (an action called by a command or a test) is not guarded.
    """
    if not key:
        return
    key = _kept(key)
    try:
        with transaction.atomic():
            Token.objects.create(key=key, answer=answer, at=timezone.now())
    except IntegrityError:
        raise AlreadyDone(Token.objects.get(pk=key)) from None


def _kept(key: str) -> str:
    """Return a key as the book keeps it: nobody's own makes a database stumble."""
    return key[:KEY_LENGTH].replace("\x00", "")
