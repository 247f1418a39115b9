"""What to count next, and how far off each person's counts are."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from breeder.cultures import entry_text, eye_bias
from breeder.cultures.queries.next_counts import plan_of_week


def to_count(request: HttpRequest) -> HttpResponse:
    """Show which tubs are worth a count this week, why, and how."""
    return render(request, "cultures/to_count.html", {"plan": plan_of_week(by=request.user)})


def own_errors(request: HttpRequest) -> HttpResponse:
    """Show what sorts that followed a guess taught of everybody's eye, and of their other ways of counting."""
    user = request.user.get_username()
    errors = [(learned, entry_text.own_error_of(learned, user)) for learned in eye_bias.own_errors()]
    return render(request, "cultures/own_errors.html", {"errors": errors})
