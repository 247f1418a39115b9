"""The page of a crash: one action keeps the tub out of sale; then what left it, its sisters, and what to tell whom."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from breeder.base.queries import household
from breeder.base.roles import is_keeper, keeper_only
from breeder.base.submit import page, typed
from breeder.cultures.actions.crashes import end_crash, mark_crashed, set_sister_apart
from breeder.cultures.forms.tubs import CrashForm, EndCrashForm
from breeder.cultures.models import Culture
from breeder.cultures.views.answers import record, tub_or_404
from breeder.orders.queries.crashes import crash_of


def crash(request: HttpRequest, number: int) -> HttpResponse:
    """Mark a tub as crashed; show the keeper what there is to know and to do about it, since it names people."""
    tub = tub_or_404(number)
    if tub.crashed_on and request.method != "POST":
        if not is_keeper(request.user):
            return redirect("cultures:tub", number=number)
        return _crash_page(request, tub, EndCrashForm())
    form = CrashForm(typed(request))
    tell = "" if is_keeper(request.user) else " Tell the keeper: people may have to be told."
    answer = record(
        request,
        lambda **how: mark_crashed(tub.pk, **form.cleaned_data, **how),
        form,
        done=f"Tub {number} is marked as crashed and is not for sale.{tell}",
        to=_page_after(request, tub),
    )
    return answer or page(request, "orders/crash_form.html", form=form, tub=tub, line=tub.line)


@keeper_only
@require_POST
def crash_over(request: HttpRequest, number: int) -> HttpResponse:
    """Let a tub that crashed give again."""
    tub = tub_or_404(number)
    form = EndCrashForm(request.POST)
    answer = record(
        request,
        lambda **how: end_crash(tub.pk, form.cleaned_data["reason"], **how),
        form,
        done=f"Tub {number} is no longer marked as crashed.",
        to=reverse("cultures:tub", args=[number]),
    )
    return answer or _crash_page(request, tub, form)


@keeper_only
@require_POST
def crash_sister(request: HttpRequest, number: int, sister: int) -> HttpResponse:
    """Put a sister in quarantine, or keep it out of what is sold; one tap."""
    tub, other = tub_or_404(number), tub_or_404(sister)
    quarantine = "quarantine" in request.POST
    answer = record(
        request,
        lambda **how: set_sister_apart(other.pk, tub.pk, quarantine=quarantine, **how),
        done=f"Tub {sister} is {'in quarantine' if quarantine else 'not for sale'}.",
        to=_page_after(request, tub),
    )
    return answer or redirect("orders:crash", number=number)


def _page_after(request: HttpRequest, tub: Culture) -> str:
    return reverse("orders:crash" if is_keeper(request.user) else "cultures:tub", args=[tub.number])


def _crash_page(request: HttpRequest, tub: Culture, form: EndCrashForm) -> HttpResponse:
    facts = crash_of(tub, household().trade_name, timezone.now())
    return page(request, "orders/crash.html", tub=tub, line=tub.line, crash=facts, form=form)
