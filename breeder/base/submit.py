"""What every view does with a form: check the token, check the form, act, say so and go on, or show it again.

answer = submit(request, lambda **how: actions.edit_person(pk, form.cleaned_data, **how), form, to=page)
return answer or page(request, "people/edit.html", form=form)
"""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import render, resolve_url

from breeder.base import form_tokens
from breeder.base.action_frame import Sent
from breeder.base.form_messages import show_refusal

REFUSED = 422  # the page is shown again with what was typed; nothing was written


class Done(HttpResponseRedirect):
    """The way on after an action; `result` is what the action returned."""

    def __init__(self, to: str, result: Any) -> None:
        super().__init__(to)
        self.result = result


class _Way:
    """Where a form leads: worked out once, inside the transaction if the action keeps it with the token."""

    def __init__(self, to: Any) -> None:
        self.to, self.address = to, ""

    def __call__(self, result: Any) -> str:
        if not self.address:
            self.address = resolve_url(self.to(result) if callable(self.to) else self.to)
        return self.address


def submit(
    request: HttpRequest,
    act: Callable[..., Any],
    *forms: Any,
    to: Any,
    done: str | Callable[[Any], str | None] | None = None,
    refuse: Callable[[ValidationError], None] | None = None,
) -> Done | None:
    """Do what a form asks for. Returns None for a page that is only looked at, and for a form that was refused.

    `forms` is anything that can be asked `is_valid()`; `act` is called with `by` and `sent` for the action once all of
    them are. `to` (an address or the name of one) and `done` (the sentence of success) may be told from the action's
    result. A refusal goes to the fields of the forms, or to `refuse`; without either it is a message.
    Raises AlreadyDone for a form that was done before, which is answered as the first time.
    """
    if request.method != "POST":
        return None
    way = _Way(to)
    try:
        form_tokens.look_at(request)
        if not all([form.is_valid() for form in forms]):
            return None
        result = act(by=request.user, sent=_sent(request, way, forms))
    except ValidationError as refusal:
        _refuse(request, forms, _look_again(request, refusal), refuse)
        return None
    if sentence := done(result) if callable(done) else done:
        messages.success(request, sentence)
    return Done(way(result), result)


def typed(request: HttpRequest) -> QueryDict | None:
    """Return what a form gets: what was typed, or nothing for a page that is only looked at."""
    return request.POST if request.method == "POST" else None


def page(request: HttpRequest, template: str, **context: Any) -> HttpResponse:
    """Show a page with a form; status 422 tells a browser's script that what was sent was not done."""
    return render(request, template, context, status=REFUSED if request.method == "POST" else 200)


def _sent(request: HttpRequest, way: _Way, forms: tuple[Any, ...]) -> Sent:
    def refuse_if_changed() -> None:
        for form in forms:
            if hasattr(form, "refuse_if_changed"):
                form.refuse_if_changed()

    token = request.POST.get("token", "")
    body = form_tokens.typed_digest(request) if token else ""
    return Sent(token, request.path, body, answer=way, refuse_if_changed=refuse_if_changed)


def _look_again(request: HttpRequest, refusal: ValidationError) -> ValidationError:
    """Return why a form is refused; a double click, refused for what its first click did, raises AlreadyDone."""
    try:
        form_tokens.look_at(request)
    except form_tokens.SentOtherwise as otherwise:
        request.needs_new_token = True  # type: ignore[attr-defined]
        return otherwise
    return refusal


def _refuse(
    request: HttpRequest,
    forms: tuple[Any, ...],
    refusal: ValidationError,
    refuse: Callable[[ValidationError], None] | None,
) -> None:
    takers = [form for form in forms if hasattr(form, "add_error")]
    if refuse:
        refuse(refusal)
    elif takers:
        _show(takers, refusal)
    else:
        for sentence in refusal.messages:
            messages.error(request, sentence)


def _show(forms: list[Any], refusal: ValidationError) -> None:
    for form in forms:
        form.is_valid()  # a form takes a refusal only once it was checked itself
    errors = refusal.error_dict if hasattr(refusal, "error_dict") else {NON_FIELD_ERRORS: refusal.error_list}
    for name, sentences in errors.items():
        taker = next((form for form in forms if name in form.fields), forms[0])
        show_refusal(taker, ValidationError({name: sentences}))
