"""What to count next, and how far off each person's counts are."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from breeder.cultures import learning, queries, telling


def to_count(request: HttpRequest) -> HttpResponse:
    """Show which tubs are worth a count this week, why, and how."""
    return render(request, "cultures/to_count.html", {"plan": queries.plan_of_week(by=request.user)})


def own_errors(request: HttpRequest) -> HttpResponse:
    """Show what sorts that followed a guess taught of everybody's eye, and of their other ways of counting."""
    told = [(own, telling.own_error_of(own, request.user.get_username())) for own in learning.own_errors()]
    return render(request, "cultures/own_errors.html", {"told": told})
