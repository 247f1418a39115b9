"""The addresses of the site, and one that shows nothing: what every page of `bench pages` is measured against."""

from django.http import HttpRequest, HttpResponse
from django.urls import include, path


def empty(request: HttpRequest) -> HttpResponse:
    """Answer with nothing; whoever reads it is logged in."""
    return HttpResponse("" if request.user.is_authenticated else "nobody")


urlpatterns = [path("benchmark/empty/", empty), path("", include("breeder.urls"))]
