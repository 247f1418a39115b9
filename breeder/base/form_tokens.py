"""One-time tokens: a double click, a back button or a resent round does the thing once."""

import json
import secrets
from hashlib import sha256
from typing import NoReturn

from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.db import IntegrityError, transaction
from django.http import HttpRequest
from django.utils import timezone
from django.utils.crypto import salted_hmac

from breeder.base import offline_forms, replies
from breeder.base.models import Token

KEY_LENGTH, LONGEST_FORM, LONGEST_ANSWER = 40, 200, 300
DIGEST_SALT = "breeder.base.form_tokens"
# What may differ between two sendings of one form.
NOT_TYPED = {"csrfmiddlewaretoken", "token", replies.FIELD, *offline_forms.STAMPS}
OTHER_VALUES = (
    "This form was already sent with other values, and those are in the book. Nothing was written this time. What you "
    "typed is still here: compare it with the book, and send it again if you want it written too."
)
OTHER_FORM = (
    "Another form was already sent from this page, so nothing was written this time. What you typed is still here: "
    "check it, and send it again."
)


class AlreadyDone(Exception):
    """The form with this token was done before.

    `answer` is the page that its first sending led to, `at` when; `is_same` whether the same values were sent, as far
    as the book knows: tokens from before it kept a digest of them say no.
    """

    def __init__(self, token: Token) -> None:
        super().__init__(token.answer)
        self.answer, self.at, self.is_same = token.answer, token.at, bool(token.body)


class SentOtherwise(ValidationError):
    """The token was used up by other values, or at another form; nothing may be written, and the keeper must know."""


def new_token() -> str:
    """Return a token for one form."""
    return secrets.token_urlsafe(18)


def seen(key: str, form: str = "", body: str = "") -> None:
    """Raise AlreadyDone if this form was done before, SentOtherwise if its token was used up in another way.

    `form` is the address that it was sent to, `body` the digest of what was typed; either may be unknown (empty).
    """
    if key and (token := _token(key)):
        _refuse(token, form, body)


def look_at(request: HttpRequest) -> None:
    """Do the same for a form that was sent; call it first in a view, so that old faults are not shown."""
    if request.method == "POST" and (token := _token(request.POST.get("token", ""))):
        _refuse(token, request.path, typed_digest(request) if token.body else "")


def spend(key: str, answer: str, form: str = "", body: str = "") -> None:
    """Use up a token inside the action's transaction, last of all. Raises like `seen` if another sending won.

    An empty key (an action called by a command or a test) is not guarded.
    """
    if not key:
        return
    key = _kept(key)
    try:
        with transaction.atomic():
            Token.objects.create(key=key, answer=answer, at=timezone.now(), form=_kept(form, LONGEST_FORM), body=body)
    except IntegrityError:
        _refuse(Token.objects.get(pk=key), form, body)


def typed_digest(request: HttpRequest) -> str:
    """Return a digest (HMAC with SHA-256, hexadecimal) of a form's values and files; taken once, while files are open.

    It is keyed by the secret of this machine: some forms hold a password, which nobody may guess from the book.
    """
    if not hasattr(request, "typed_digest"):
        values = [(name, request.POST.getlist(name)) for name in sorted(request.POST) if name not in NOT_TYPED]
        files = [(name, _file_facts(file)) for name in sorted(request.FILES) for file in request.FILES.getlist(name)]
        text = json.dumps([values, files])
        request.typed_digest = salted_hmac(DIGEST_SALT, text, algorithm="sha256").hexdigest()  # type: ignore[attr-defined]
    return request.typed_digest  # type: ignore[attr-defined, no-any-return]


def _file_facts(file: UploadedFile) -> list[object]:
    content = sha256()
    for chunk in file.chunks():
        content.update(chunk)
    file.seek(0)
    return [file.name, file.size, content.hexdigest()]


def _refuse(token: Token, form: str, body: str) -> NoReturn:
    if form and token.form and _kept(form, LONGEST_FORM) != token.form:
        raise SentOtherwise(OTHER_FORM, code="other_form")
    if body and token.body and body != token.body:
        raise SentOtherwise(OTHER_VALUES, code="other_values")
    raise AlreadyDone(token)


def _token(key: str) -> Token | None:
    return Token.objects.filter(pk=_kept(key)).first() if key else None


def _kept(text: str, longest: int = KEY_LENGTH) -> str:
    """Return a text as the book keeps it: nobody's own makes a database stumble."""
    return text[:longest].replace("\x00", "")
