"""The board's pages: what each day says for every box, a plan for all, and the posting days as a calendar."""

import time
from itertools import chain

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.models import User
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from breeder.base.submit import submit
from breeder.shipments import board as boards
from breeder.shipments import board_page
from breeder.shipments import calendar_feed as calendars
from breeder.shipments.actions import bench as packing
from breeder.shipments.forms.departure_forms import BoardChoices, BoardForm
from breeder.shipments.models import Parcel
from breeder.shipments.queries import parcels as boxes


def board(request: HttpRequest) -> HttpResponse:
    """Show all boxes that wait on their next posting days, with a plan for all by the chosen aim."""
    household = request.household  # type: ignore[attr-defined]
    form = BoardForm.asked(request.GET)
    until = time.monotonic() + settings.BOARD_PATIENCE_S
    found = boards.build_board(household, timezone.now(), until)
    plan = boards.plan(found, form.aim, form.boxes_a_day, until)
    feed = reverse("shipments:calendar", args=[request.user.pk, calendars.feed_key(request.user)])  # type: ignore[arg-type]
    context = board_page.board_context(found, plan, form.aim, household, request.GET.get("page")) | {
        "form": form,
        "feed": request.build_absolute_uri(feed),
        "again": request.get_full_path(),
    }
    return render(request, "shipments/board.html", context)


@require_POST
def choose(request: HttpRequest) -> HttpResponse:
    """Take a day and a kit for one box, or for all as planned."""
    form = BoardChoices(request.POST)
    answer = submit(
        request,
        lambda **how: packing.choose_for_boxes(form.choices(), **how),
        form,
        to="shipments:board",
        done=_chosen,
    )
    for sentence in chain.from_iterable(form.errors.values()):
        messages.error(request, sentence)
    return answer or redirect("shipments:board")


def _chosen(boxes: list[Parcel]) -> str:
    numbers = ", ".join(str(parcel.number) for parcel in boxes)
    which = "box" if len(boxes) == 1 else "boxes"
    return f"Day and kit are chosen for {which} {numbers}, to be checked again before leaving."


@login_not_required
def calendar(request: HttpRequest, user_id: int, key: str) -> HttpResponse:
    """Give the posting days to whoever holds the secret address."""
    if not calendars.may_read(User.objects.filter(pk=user_id).first(), key):
        raise Http404("No such calendar.")
    said = calendars.feed(boxes.parcels_here(), request.get_host(), timezone.now())
    return HttpResponse(said, content_type="text/calendar; charset=utf-8", headers={"Cache-Control": "private"})
