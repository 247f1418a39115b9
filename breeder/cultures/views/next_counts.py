"""What to count next."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from breeder.cultures import queries


def to_count(request: HttpRequest) -> HttpResponse:
    """Show which tubs are worth a count this week, why, and how."""
    return render(request, "cultures/to_count.html", {"plan": queries.plan_of_week()})
