"""Pages of who may log in: one's own password and sessions for everybody, the helpers for the keeper."""

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from breeder.base import access
from breeder.base import sessions as open_ones
from breeder.base.access_forms import HelperPasswordForm, NewHelperForm, OwnPasswordForm
from breeder.base.roles import HELPER, keeper_only

REFUSED = 422


@sensitive_post_parameters()
def password(request: HttpRequest) -> HttpResponse:
    """Change one's own password; one stays logged in here and nowhere else."""
    form = OwnPasswordForm(request.user, request.POST if request.method == "POST" else None)
    if form.is_bound and form.is_valid():
        chosen, this = form.cleaned_data["new_password1"], request.session.session_key
        access.change_password(form.user, chosen, by=form.user, but=this)
        update_session_auth_hash(request, form.user)
        messages.success(
            request, "Your password is changed. You stay logged in here; everywhere else you are logged out."
        )
        return redirect("base:sessions")
    return render(request, "base/password.html", {"form": form}, status=REFUSED if form.is_bound else 200)


def sessions(request: HttpRequest) -> HttpResponse:
    """Show where one is logged in, and end one of these sessions, or all but this one."""
    person: User = request.user  # type: ignore[assignment]
    this = request.session.session_key
    if request.method == "POST":
        ended = open_ones.end(person, mark=request.POST.get("mark", ""), but=this)
        messages.success(request, _ended_words(ended))
        return redirect("base:sessions")
    return render(request, "base/sessions.html", {"sessions": open_ones.open_sessions(person, this)})


def _ended_words(ended: int) -> str:
    if not ended:
        return "There was nothing to end; that session is already over."
    return "One session is ended." if ended == 1 else f"{ended} sessions are ended."


@sensitive_post_parameters()
@keeper_only
def helpers(request: HttpRequest) -> HttpResponse:
    """Show who helps, and add somebody."""
    form = NewHelperForm(request.POST if request.method == "POST" else None)
    if form.is_bound and form.is_valid() and _added(request, form):
        name = form.cleaned_data["username"]
        messages.success(request, f"{name} may log in. Tell them name and password; they can change it under Book.")
        return redirect("base:helpers")
    shown = {"form": form, "helpers": access.helpers()}
    return render(request, "base/helpers.html", shown, status=REFUSED if form.is_bound else 200)


def _added(request: HttpRequest, form: NewHelperForm) -> bool:
    name, chosen = form.cleaned_data["username"], form.cleaned_data["password1"]
    if access.added_just_now(name, chosen, HELPER):
        return True
    try:
        access.add_person(name, chosen, HELPER, by=request.user)
    except access.CannotAdd as refusal:
        form.add_error("username", refusal)
        return False
    return True


@sensitive_post_parameters()
@keeper_only
def helper(request: HttpRequest, pk: int) -> HttpResponse:
    """One helper: where they are logged in, a new password, and the end of their access."""
    one = get_object_or_404(access.helpers(), pk=pk)
    form = HelperPasswordForm(one, request.POST if request.method == "POST" else None)
    if form.is_bound and form.is_valid():
        access.change_password(one, form.cleaned_data["new_password1"], by=request.user)
        messages.success(request, f"{one} has a new password and is logged out everywhere. Tell them the password.")
        return redirect("base:helper", pk)
    shown = {"form": form, "helper": one, "sessions": open_ones.open_sessions(one)}
    return render(request, "base/helper.html", shown, status=REFUSED if form.is_bound else 200)


@require_POST
@keeper_only
def helper_end(request: HttpRequest, pk: int) -> HttpResponse:
    """End a helper's access, wherever they are logged in."""
    one = get_object_or_404(access.helpers(), pk=pk)
    access.end_access(one, by=request.user)
    messages.success(request, f"{one} is logged out everywhere and may no longer log in.")
    return redirect("base:helper", pk)
