"""Pages of who may log in: one's own password and sessions for everybody, the helpers for the keeper."""

from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from breeder.base import access
from breeder.base import sessions as open_ones
from breeder.base.access_forms import HelperPasswordForm, NewHelperForm, OwnPasswordForm
from breeder.base.roles import keeper_only
from breeder.base.submit import page, submit, typed


@sensitive_post_parameters()
def password(request: HttpRequest) -> HttpResponse:
    """Change one's own password; one stays logged in here and nowhere else."""
    form, this = OwnPasswordForm(request.user, typed(request)), request.session.session_key
    answer = submit(
        request,
        lambda **how: access.change_password(form.user, form.cleaned_data["new_password1"], but=this, **how),
        form,
        to="base:sessions",
        done="Your password is changed. You stay logged in here; everywhere else you are logged out.",
    )
    if answer:
        update_session_auth_hash(request, form.user)
    return answer or page(request, "base/password.html", form=form)


def sessions(request: HttpRequest) -> HttpResponse:
    """Show where one is logged in, and end one of these sessions, or all but this one."""
    person: User = request.user  # type: ignore[assignment]
    mark, this = request.POST.get("mark", ""), request.session.session_key
    answer = submit(
        request,
        lambda **how: access.end_sessions(person, mark, but=this, **how),
        to="base:sessions",
        done=_ended_words,
    )
    return answer or page(request, "base/sessions.html", sessions=open_ones.open_sessions(person, this))


def _ended_words(ended: int) -> str:
    if not ended:
        return "There was nothing to end; that session is already over."
    return "One session is ended." if ended == 1 else f"{ended} sessions are ended."


@sensitive_post_parameters()
@keeper_only
def helpers(request: HttpRequest) -> HttpResponse:
    """Show who helps, and add somebody."""
    form = NewHelperForm(typed(request))
    answer = submit(
        request,
        lambda **how: access.add_helper(form.cleaned_data["username"], form.cleaned_data["password1"], **how),
        form,
        to="base:helpers",
        done=lambda user: f"{user} may log in. Tell them name and password; they can change it under Book.",
    )
    return answer or page(request, "base/helpers.html", form=form, helpers=access.helpers())


@sensitive_post_parameters()
@keeper_only
def helper(request: HttpRequest, pk: int) -> HttpResponse:
    """One helper: where they are logged in, a new password, and the end of their access."""
    kept = get_object_or_404(access.helpers(), pk=pk)
    form = HelperPasswordForm(kept, typed(request))
    answer = submit(
        request,
        lambda **how: access.change_password(kept, form.cleaned_data["new_password1"], **how),
        form,
        to=request.path,
        done=f"{kept} has a new password and is logged out everywhere. Tell them the password.",
    )
    return answer or page(request, "base/helper.html", form=form, helper=kept, sessions=open_ones.open_sessions(kept))


@require_POST
@keeper_only
def helper_end(request: HttpRequest, pk: int) -> HttpResponse:
    """End a helper's access, wherever they are logged in."""
    kept = get_object_or_404(access.helpers(), pk=pk)
    answer = submit(
        request,
        lambda **how: access.end_access(kept, **how),
        to=reverse("base:helper", args=[pk]),
        done=f"{kept} is logged out everywhere and may no longer log in.",
    )
    return answer or redirect("base:helper", pk)
