"""Pages of species and lines."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from breeder.base.csv_export import csv_answer
from breeder.base.paging import in_pages
from breeder.base.roles import keeper_only
from breeder.base.submit import page, submit, typed
from breeder.species import actions, queries, species_fields
from breeder.species.forms import LineEditForm, LineForm, SpeciesFilter, SpeciesForm
from breeder.species.models import Line, Species
from breeder.species.tables import SpeciesTable, comfort_text


def species_list(request: HttpRequest) -> HttpResponse:
    """The species of the book, to sort and narrow."""
    narrowing = SpeciesFilter(request.GET)
    wanted = narrowing.cleaned_data if narrowing.is_valid() else {}
    found = queries.species_list(wanted.get("q", ""), wanted.get("group", ""), wanted.get("band", ""))
    if "csv" in request.GET:
        return _as_csv(found)
    table = SpeciesTable(found, household=request.household)
    in_pages(request, table)
    return render(request, "species/species_list.html", {"table": table, "narrowing": narrowing, "number": len(found)})


def _as_csv(found: object) -> HttpResponse:
    header = ["scientificName", "identificationQualifier", *species_fields.FIELDS, "open_lines"]
    names = ["scientific_name", "qualifier", *species_fields.FIELDS, "open_lines"]
    return csv_answer("species.csv", header, ([getattr(one, name) for name in names] for one in found))


def species(request: HttpRequest, pk: int) -> HttpResponse:
    """One species: what it stands and needs, each value with its mark and source."""
    one = get_object_or_404(Species, pk=pk)
    shown = {
        "species": one,
        "comfort": comfort_text(one, request.household),
        "sexing": species_fields.fact(one, "sexing", request.household),
        "sections": species_fields.facts_by_section(one, request.household),
        "lines": queries.species_lines(one),
    }
    return render(request, "species/species.html", shown)


@keeper_only
def species_new(request: HttpRequest) -> HttpResponse:
    """Add a species."""
    return _species_form(request, None)


@keeper_only
def species_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change values of a species."""
    return _species_form(request, get_object_or_404(Species, pk=pk))


def _species_form(request: HttpRequest, kept: Species | None) -> HttpResponse:
    form = SpeciesForm(typed(request), instance=kept, household=request.household)

    def act(**how: Any) -> Species:
        how |= {"mark": form.cleaned_data["mark"], "source": form.cleaned_data["source"]}
        if kept is None:
            return actions.add_species(form.values, usual=form.usual, **how)
        return actions.edit_species(kept.pk, form.values, **how)

    answer = submit(request, act, form, to=actions.species_url, done=lambda saved: f"{saved} is kept.")
    if answer:
        return answer
    # The form has put what was typed into its own copy; the heading names the species as it is in the book.
    shown = get_object_or_404(Species, pk=kept.pk) if kept else None
    return page(request, "species/species_form.html", form=form, species=shown)


@keeper_only
def line_new(request: HttpRequest) -> HttpResponse:
    """Start a line."""
    form = LineForm(typed(request), initial={"species": request.GET.get("species")})
    answer = submit(
        request,
        lambda **how: actions.add_line(form.values, **how),
        form,
        to=actions.line_url,
        done=lambda line: f"{line} is in the book. Begin its first tub.",
    )
    return answer or page(request, "species/line_form.html", form=form)


@keeper_only
def line_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a line; a lowered minimum asks for a reason."""
    lines = Line.objects.select_related("species")
    form = LineEditForm(typed(request), instance=get_object_or_404(lines, pk=pk))
    answer = submit(
        request,
        lambda **how: actions.edit_line(pk, form.values, reason=form.cleaned_data["reason"], **how),
        form,
        to=actions.line_url,
        done=lambda line: f"{line} is kept.",
    )
    return answer or page(request, "species/line_form.html", form=form, line=get_object_or_404(lines, pk=pk))
