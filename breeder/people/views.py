"""Pages of people: the keeper's alone, since they hold addresses."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from breeder.base import form_tokens
from breeder.base.csv_export import csv_answer
from breeder.base.paging import in_pages
from breeder.base.roles import keeper_only
from breeder.people import actions, queries
from breeder.people.forms import AddressForm, PeopleFilter, PersonForm, RemovalForm, as_typed
from breeder.people.models import Address, Person
from breeder.people.tables import PeopleTable, town_of

REFUSED = 422


def _writing(request: HttpRequest) -> dict[str, object]:
    return {"by": request.user, "token": request.POST.get("token", "")}


def _person(pk: int) -> Person:
    return get_object_or_404(Person, pk=pk, removed_at__isnull=True)


@keeper_only
def people_list(request: HttpRequest) -> HttpResponse:
    """Everybody on file, to search."""
    narrowing = PeopleFilter(request.GET)
    wanted = narrowing.cleaned_data if narrowing.is_valid() else {}
    found = queries.people(wanted.get("q", ""), wanted.get("kind", ""))
    if "csv" in request.GET:
        rows = ([one.name, one.kind, town_of(one), one.email, one.phone, one.consent_on] for one in found)
        return csv_answer("people.csv", ["name", "kind", "town", "email", "phone", "agreed_on"], rows)
    table = PeopleTable(found)
    in_pages(request, table)
    return render(request, "people/list.html", {"table": table, "narrowing": narrowing, "number": found.count()})


@keeper_only
def person(request: HttpRequest, pk: int) -> HttpResponse:
    """One person: how to reach them, and where their boxes go."""
    one = _person(pk)
    current = one.addresses.filter(is_current=True).first()
    shown = {
        "person": one,
        "address": current,
        "former": one.addresses.filter(is_current=False),
        "open_orders": queries.open_order_numbers(one),
    }
    return render(request, "people/person.html", shown)


@keeper_only
def new(request: HttpRequest) -> HttpResponse:
    """Put somebody on file, with their address pasted as a block."""
    if request.method == "POST":
        form_tokens.seen(request.POST.get("token", ""))
    form = PersonForm(request.POST if request.method == "POST" else None)
    address = AddressForm(request.POST if request.method == "POST" else None, may_be_empty=True)
    if request.method == "POST" and form.is_valid() & address.is_valid():
        one = actions.add_person(form.cleaned_data, address.destination, **_writing(request))
        messages.success(request, f"{one.name} is on file.")
        return redirect(actions.person_url(one))
    shown = {"form": form, "address": address}
    return render(request, "people/new.html", shown, status=REFUSED if form.is_bound else 200)


@keeper_only
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change how somebody is kept on file."""
    if request.method == "POST":
        form_tokens.seen(request.POST.get("token", ""))
    one = _person(pk)
    form = PersonForm(request.POST if request.method == "POST" else None, instance=one)
    if request.method == "POST" and form.is_valid():
        one = actions.edit_person(pk, form.cleaned_data, **_writing(request))
        messages.success(request, f"What is on file about {one.name} is changed.")
        return redirect(actions.person_url(one))
    shown = {"form": form, "person": _person(pk)}
    return render(request, "people/edit.html", shown, status=REFUSED if form.is_bound else 200)


@keeper_only
def address_new(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep a new address; the old one stays with what was sent there."""
    if request.method == "POST":
        form_tokens.seen(request.POST.get("token", ""))
    one = _person(pk)
    form = AddressForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        actions.add_address(pk, form.destination, **_writing(request))
        messages.success(request, "The new address is kept. Boxes that are planned from now on go there.")
        return redirect(actions.person_url(one))
    shown = {"form": form, "person": one, "is_new": True}
    return render(request, "people/address.html", shown, status=REFUSED if form.is_bound else 200)


@keeper_only
def address_edit(request: HttpRequest, pk: int, address_pk: int) -> HttpResponse:
    """Put an address right; open orders follow."""
    if request.method == "POST":
        form_tokens.seen(request.POST.get("token", ""))
    one = _person(pk)
    address = get_object_or_404(Address, pk=address_pk, person=one)
    form = AddressForm(request.POST if request.method == "POST" else None, initial=as_typed(address))
    if request.method == "POST" and form.is_valid():
        actions.correct_address(address.pk, form.destination, **_writing(request))
        messages.success(request, "The address is put right. Boxes to it must be checked again.")
        return redirect(actions.person_url(one))
    shown = {"form": form, "person": one, "is_new": False}
    return render(request, "people/address.html", shown, status=REFUSED if form.is_bound else 200)


@keeper_only
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Remove somebody on request; what their orders came to stays."""
    if request.method == "POST":
        form_tokens.seen(request.POST.get("token", ""))
    one = _person(pk)
    form = RemovalForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            actions.remove_person(pk, **_writing(request))
            messages.info(request, "The person was removed. What their orders came to stays in the book.")
            return redirect("people:list")
        except ValidationError as refusal:
            form.add_error(None, refusal)
    shown = {"form": form, "person": one, "open_orders": queries.open_order_numbers(one)}
    return render(request, "people/remove.html", shown, status=REFUSED if form.is_bound else 200)
