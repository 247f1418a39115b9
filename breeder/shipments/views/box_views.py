"""The packing-day pages: the boxes that are here, and one box from its check to the post."""

import time
from collections.abc import Callable, Sequence
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from breeder.base.dates import weekday_said
from breeder.base.form_tokens import LONGEST_ANSWER
from breeder.base.roles import is_keeper
from breeder.base.submit import page, submit
from breeder.shipments import box_page
from breeder.shipments.actions import bench as packing
from breeder.shipments.actions import departure
from breeder.shipments.actions.departure import Done
from breeder.shipments.forms.box_forms import ContentsForm, DayChoice, KitChoice, WayChoice
from breeder.shipments.forms.departure_forms import CheckForm, PackedForm, UnpackForm
from breeder.shipments.models import Parcel
from breeder.shipments.queries import checks
from breeder.shipments.queries import parcels as boxes

CHECK_IT = "Check it before it leaves."
SENT_SHOWN = 10


def waiting(request: HttpRequest) -> HttpResponse:
    """Show the boxes that are here with their verdict, and the orders that no box is planned for."""
    standings = checks.waiting()
    pulling_day = box_page.next_packing_day(standings, timezone.localdate())
    here = {str(standing.parcel.number) for standing in standings}
    left = [number for number in request.GET.get("left", "").split(",") if number in here]
    context = {
        "rows": box_page.packing_rows(standings),
        "left": left,
        "pulling_day": pulling_day,
        "pulling_url": f"{reverse('documents:day_pulling_list')}?day={pulling_day.isoformat()}",
        "to_plan": box_page.orders_to_plan(list(boxes.orders_without_box())),
        "sent": list(boxes.parcels_sent(SENT_SHOWN)),
    }
    answer = render(request, "shipments/list.html", context)
    if left:  # what is said now is said again when all are checked
        messages.get_messages(request).used = False
    return answer


@require_POST
def check_all(request: HttpRequest) -> HttpResponse:
    """Check the boxes that are here for as long as a page may take; the list goes on with those that are left."""
    asked = request.POST.get("left", "")
    open_boxes = checks.to_check(timezone.localdate())
    numbers = [number for number in open_boxes if not asked or str(number) in asked.split(",")]
    until = time.monotonic() + settings.CHECK_PATIENCE_S
    answer = submit(
        request,
        lambda **how: departure.check_boxes(numbers, until=until, **how),
        to=lambda checked: _answer_of(checked.left),
        done=lambda checked: None if checked.left else box_page.all_checked_text(checks.waiting()),
    )
    if answer is None:
        return redirect("shipments:list")
    for sentence in answer.result.failed:
        messages.warning(request, sentence)
    return redirect(_list_of(answer.result.left))


def _list_of(left: Sequence[int]) -> str:
    """Return the packing list's address, which goes on with checking what is left."""
    asked = f"?left={','.join(map(str, left))}" if left else ""
    return reverse("shipments:list") + asked


def _answer_of(left: Sequence[int]) -> str:
    """Return the same address, or the plain list where so many are left that a token cannot keep their numbers."""
    address = _list_of(left)
    return address if len(address) <= LONGEST_ANSWER else _list_of(())


def parcel(request: HttpRequest, number: int) -> HttpResponse:
    """Show one box: may it leave, why, and what would help."""
    return render(request, "shipments/parcel.html", box_page.box_context(request, _box(number)))


@require_POST
def check(request: HttpRequest, number: int) -> HttpResponse:
    """Check a box as it stands."""
    return _do(
        request,
        number,
        {"check": CheckForm(request.POST)},
        lambda **how: departure.check_parcel(number, **how),
        box_page.checked_text,
    )


@require_POST
def choose_kit(request: HttpRequest, number: int) -> HttpResponse:
    """Take the kit that is chosen for a box."""
    form = KitChoice(request.POST)
    return _do(
        request,
        number,
        {"kit": form},
        lambda **how: packing.choose_kit(number, form.cleaned_data["kit"].pk, **how),
        lambda box: f"Box {number} goes in {box.kit}. {CHECK_IT}",
    )


@require_POST
def choose_way(request: HttpRequest, number: int) -> HttpResponse:
    """Take the service and delivery way that are chosen for a box."""
    form = WayChoice(request.POST)

    def done(box: Parcel) -> str:
        day = f", handed over on {weekday_said(box.post_on)}" if box.post_on else ""
        return f"Box {number} goes by {box.service}, {box.get_way_display()}{day}. {CHECK_IT}"

    return _do(
        request,
        number,
        {"way": form},
        lambda **how: packing.choose_way(number, form.cleaned_data["service"].pk, form.cleaned_data["way"], **how),
        done,
    )


@require_POST
def choose_day(request: HttpRequest, number: int) -> HttpResponse:
    """Take the day that is chosen for a box."""
    form = DayChoice(request.POST, days=boxes.usable_days(_box(number).service, timezone.localdate()))
    return _do(
        request,
        number,
        {"day": form},
        lambda **how: packing.choose_day(number, form.cleaned_data["post_on"], **how),
        lambda box: f"Box {number} is handed over on {weekday_said(box.post_on)}. {CHECK_IT}",
    )


@require_POST
def contents(request: HttpRequest, number: int) -> HttpResponse:
    """Take what is now planned for a box."""
    form = ContentsForm(request.POST, parcel=_box(number))
    return _do(
        request,
        number,
        {"contents": form},
        lambda **how: packing.change_contents(number, form.changes(), **how),
        lambda box: f"The plan of box {number} is kept. {CHECK_IT}",
    )


@require_POST
def packed(request: HttpRequest, number: int) -> HttpResponse:
    """Take what really went in."""
    form = _packed_form(request, number)

    def act(**how: Any) -> Done:
        return departure.record_packed(number, form.packed(), tracking=form.cleaned_data["tracking"], **how)

    return _do(request, number, {"packed": form}, act, _sentence)


@require_POST
def send(request: HttpRequest, number: int) -> HttpResponse:
    """Hand a box over."""
    form = _packed_form(request, number)

    def act(**how: Any) -> Done:
        given = form.cleaned_data
        reason = given.get("override_reason", "")
        return departure.send_parcel(number, form.packed(), tracking=given["tracking"], override_reason=reason, **how)

    return _do(request, number, {"packed": form}, act, _sentence)


@require_POST
def unpack(request: HttpRequest, number: int) -> HttpResponse:
    """Take a box apart that does not leave."""
    form = UnpackForm(request.POST)
    return _do(
        request,
        number,
        {"unpack": form},
        lambda **how: departure.unpack_parcel(number, release=form.cleaned_data["release"], **how),
        _sentence,
    )


def _packed_form(request: HttpRequest, number: int) -> PackedForm:
    return PackedForm(request.POST, parcel=_box(number), may_override=is_keeper(request.user))


def _sentence(done: Done) -> str:
    return done.done


def _box(number: int) -> Parcel:
    return get_object_or_404(boxes.parcels(), number=number)


def _do(
    request: HttpRequest, number: int, sent: dict[str, Any], act: Callable[..., Any], done: Callable[[Any], str]
) -> HttpResponse:
    """Do one thing to a box: form, action, then its page; a refusal shows the page again with what was typed."""
    _box(number)
    answer = submit(request, act, *sent.values(), to=reverse("shipments:parcel", args=[number]), done=done)
    if answer is None:
        return page(request, "shipments/parcel.html", **box_page.box_context(request, _box(number), sent))
    for sentence in getattr(answer.result, "sentences", ()):
        messages.warning(request, sentence)
    return answer
