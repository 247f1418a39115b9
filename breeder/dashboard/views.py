"""The keeper's first page."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from breeder.dashboard import queries


def page(request: HttpRequest) -> HttpResponse:
    """Show what needs doing today."""
    return render(request, "dashboard/page.html", {"day": queries.day_overview(timezone.now())})
