"""Who may log in: adding a person, passwords, ending and giving back access. Each ends the sessions that it must."""

from typing import Any

from axes.utils import reset
from django.contrib.auth.models import Group, User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import QuerySet

from breeder.base import sessions
from breeder.base.action_frame import action
from breeder.base.roles import HELPER, KEEPER
from breeder.base.steps import log


class CannotAdd(ValidationError):
    """The name is taken or no name, or the password is too weak; says which."""


def helpers() -> QuerySet[User]:
    """Return the people who help, also those whose access was ended; a keeper is none of them."""
    return User.objects.filter(groups__name=HELPER).exclude(groups__name=KEEPER).order_by("username")


def add_person(name: str, password: str, role: str, *, by: Any = None) -> User:
    """Add somebody who may log in. Raises CannotAdd."""
    taken = f"There is already somebody called '{name}'. Choose another name."
    if User.objects.filter(username__iexact=name).exists():
        raise CannotAdd(taken)
    person = User(username=name)
    try:
        person.full_clean(exclude=["password"])
        validate_password(password, person)
        person.set_password(password)
        with transaction.atomic():
            person.save()
            person.groups.add(Group.objects.get_or_create(name=role)[0])
            log("person added", name, f"{name} may log in as a {role}.", by=by)
    except IntegrityError:  # added by another hand at this moment
        raise CannotAdd(taken) from None
    except ValidationError as fault:
        raise CannotAdd(fault.messages) from None
    return person


@action()
def add_helper(name: str, password: str, *, by: Any) -> User:
    """Add somebody who helps. Raises CannotAdd beside the name."""
    try:
        return add_person(name, password, HELPER, by=by)
    except CannotAdd as fault:
        raise CannotAdd({"username": fault.messages}) from None


@action()
def change_password(person: User, password: str, *, by: Any, but: str | None = None) -> User:
    """Set a password that was checked before; all sessions end `but` the one with this key, and so does a lock-out."""
    ended = sessions.end(person, but=but)
    person.set_password(password)
    person.is_active = True
    person.save(update_fields=["password", "is_active"])
    reset(username=person.username)
    log("password changed", person.username, f"{person.username} has a new password.", by=by, facts={"ended": ended})
    return person


@action()
def end_access(person: User, *, by: Any) -> User:
    """Let somebody in no more, at once; what they did stays in the book under their name."""
    person.is_active = False
    person.save(update_fields=["is_active"])
    ended = sessions.end(person)
    log("access ended", person.username, f"{person.username} may no longer log in.", by=by, facts={"ended": ended})
    return person


@action()
def end_sessions(person: User, mark: str, *, but: str | None, by: Any) -> int:
    """End one of one's own sessions by its mark, or all `but` this one; returns how many."""
    return sessions.end(person, mark=mark, but=but)
