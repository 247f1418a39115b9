"""The frame around every action that a form starts: one transaction, the lock, the token, what changed meanwhile.

@action(lock=take_order)
def cancel_order(order, reason, *, by): ...

cancel_order(7, "changed their mind", by=keeper, sent=sent)
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import wraps
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from breeder.base import form_tokens


def _nothing() -> None:
    """What is refused where no page stands behind an action."""


@dataclass(frozen=True)
class Sent:
    """The form behind an action. `Sent()` stands for none (a command, a test) and guards nothing.

    `form` is the address that it was sent to, `body` the digest of what was typed, `answer` the address of the page
    that it leads to, or how to tell that from the action's result.
    """

    token: str = ""
    form: str = ""
    body: str = ""
    answer: str | Callable[[Any], str] = ""
    refuse_if_changed: Callable[[], None] = _nothing

    def refuse_spent(self) -> None:
        """Raise AlreadyDone or SentOtherwise if the token was used up."""
        form_tokens.seen(self.token, self.form, self.body)

    def spend(self, result: Any) -> None:
        """Use up the token; call it last of all in the transaction."""
        # Without a form no address is looked up: in a fresh process that loads every page, for seconds, under the lock.
        if self.token:
            answer = self.answer(result) if callable(self.answer) else self.answer
            form_tokens.spend(self.token, answer, self.form, self.body)


NO_FORM = Sent()


@contextmanager
def refuse_twice(refusal: ValidationError) -> Iterator[None]:
    """Turn a row that is in the book already (a unique column) into a refusal; what was written inside is undone."""
    try:
        with transaction.atomic():
            yield
    except IntegrityError:
        raise refusal from None


def action(lock: Callable[..., Any] | None = None) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Wrap an action; it is then called with `by=` and, from a form, `sent=`.

    In one durable transaction: `lock` gets the action's arguments and takes the lock; what it returns, if anything,
    becomes the first argument, such as the row as it is now. Then a spent token is refused (AlreadyDone,
    SentOtherwise), then what was changed since the page was opened (ChangedMeanwhile). The action itself follows; the
    token is spent last. What it raises undoes all of it.
    """

    def frame(body: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(body)
        def run(*args: Any, by: Any, sent: Sent = NO_FORM, **kwargs: Any) -> Any:
            with transaction.atomic(durable=True):
                fresh = lock(*args, **kwargs) if lock else None
                if fresh is not None:
                    args = (fresh, *args[1:])
                sent.refuse_spent()
                sent.refuse_if_changed()
                result = body(*args, by=by, **kwargs)
                sent.spend(result)
            return result

        run.is_action = True  # type: ignore[attr-defined]
        return run

    return frame
