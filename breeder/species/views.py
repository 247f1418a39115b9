"""Pages of species and lines."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from breeder.base import form_tokens
from breeder.base.csv_export import csv_answer
from breeder.base.paging import in_pages
from breeder.base.roles import keeper_only
from breeder.species import actions, queries, rules, species_fields
from breeder.species.forms import LineEditForm, LineForm, SpeciesFilter, SpeciesForm
from breeder.species.models import Line, Species
from breeder.species.tables import SpeciesTable, comfort_words

REFUSED = 422


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
        "comfort": comfort_words(one, request.household),
        "sexing": species_fields.fact(one, "sexing", request.household),
        "sections": species_fields.facts_by_section(one, request.household),
        "lines": queries.lines_of(one),
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


def _species_form(request: HttpRequest, one: Species | None) -> HttpResponse:
    if request.method == "POST":
        form_tokens.seen(request.POST.get("token", ""))
    form = SpeciesForm(request.POST if request.method == "POST" else None, instance=one, household=request.household)
    if request.method == "POST" and form.is_valid():
        said = {"mark": form.cleaned_data["mark"], "source": form.cleaned_data["source"]}
        writing = {"by": request.user, "token": request.POST.get("token", ""), **said}
        try:
            if one is None:
                saved = actions.add_species(form.values, usual=form.usual, **writing)
            else:
                saved = actions.edit_species(one.pk, form.values, **writing)
            messages.success(request, f"{saved} is kept.")
            return redirect(actions.species_url(saved))
        except ValidationError as refusal:
            form.add_error(None, refusal)
    shown = {"form": form, "species": get_object_or_404(Species, pk=one.pk) if one else None}
    return render(request, "species/species_form.html", shown, status=REFUSED if form.is_bound else 200)


@keeper_only
def line_new(request: HttpRequest) -> HttpResponse:
    """Start a line."""
    if request.method == "POST":
        form_tokens.seen(request.POST.get("token", ""))
    form = LineForm(request.POST if request.method == "POST" else None, initial={"species": request.GET.get("species")})
    if request.method == "POST" and form.is_valid():
        try:
            line = actions.add_line(form.values, by=request.user, token=request.POST.get("token", ""))
            messages.success(request, f"{line} is in the book. Begin its first tub.")
            return redirect(actions.line_url(line))
        except ValidationError as refusal:
            form.add_error(None, refusal)
    return render(request, "species/line_form.html", {"form": form}, status=REFUSED if form.is_bound else 200)


@keeper_only
def line_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a line; a lowered minimum asks for a reason."""
    if request.method == "POST":
        form_tokens.seen(request.POST.get("token", ""))
    line = get_object_or_404(Line.objects.select_related("species"), pk=pk)
    form = LineEditForm(request.POST if request.method == "POST" else None, instance=line)
    if request.method == "POST" and form.is_valid():
        writing = {"by": request.user, "reason": form.cleaned_data["reason"], "token": request.POST.get("token", "")}
        try:
            line = actions.edit_line(pk, form.values, **writing)
            messages.success(request, f"{line} is kept.")
            return redirect(actions.line_url(line))
        except rules.NeedsReason as refusal:
            form.add_error("reason", refusal)
        except ValidationError as refusal:
            form.add_error(None, refusal)
    shown = {"form": form, "line": get_object_or_404(Line.objects.select_related("species"), pk=pk)}
    return render(request, "species/line_form.html", shown, status=REFUSED if form.is_bound else 200)
