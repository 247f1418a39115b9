"""Pages of people: the keeper's alone, since they hold addresses."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from breeder.base.csv_export import csv_answer
from breeder.base.paging import in_pages
from breeder.base.roles import keeper_only
from breeder.base.submit import page, submit, typed
from breeder.people import actions, queries
from breeder.people.forms import AddressForm, PeopleFilter, PersonForm, PersonRemovalForm, address_form_values
from breeder.people.models import Address, Person
from breeder.people.tables import PeopleTable, town_text


def _person(pk: int) -> Person:
    return get_object_or_404(Person, pk=pk, removed_at__isnull=True)


@keeper_only
def people_list(request: HttpRequest) -> HttpResponse:
    """Everybody on file, to search."""
    narrowing = PeopleFilter(request.GET)
    wanted = narrowing.cleaned_data if narrowing.is_valid() else {}
    found = queries.people(wanted.get("q", ""), wanted.get("kind", ""))
    if "csv" in request.GET:
        rows = ([one.name, one.kind, town_text(one), one.email, one.phone, one.consent_on] for one in found)
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
    form = PersonForm(typed(request))
    address = AddressForm(typed(request), may_be_empty=True)
    answer = submit(
        request,
        lambda **how: actions.add_person(form.cleaned_data, address.destination, **how),
        form,
        address,
        to=actions.person_url,
        done=lambda kept: f"{kept.name} is on file.",
    )
    return answer or page(request, "people/new.html", form=form, address=address)


@keeper_only
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change how somebody is kept on file."""
    form = PersonForm(typed(request), instance=_person(pk))
    answer = submit(
        request,
        lambda **how: actions.edit_person(pk, form.cleaned_data, **how),
        form,
        to=actions.person_url,
        done=lambda kept: f"What is on file about {kept.name} is changed.",
    )
    return answer or page(request, "people/edit.html", form=form, person=_person(pk))


@keeper_only
def address_new(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep a new address; the old one stays with what was sent there."""
    kept, form = _person(pk), AddressForm(typed(request))
    answer = submit(
        request,
        lambda **how: actions.add_address(pk, form.destination, **how),
        form,
        to=actions.person_url(kept),
        done="The new address is kept. Boxes that are planned from now on go there.",
    )
    return answer or page(request, "people/address.html", form=form, person=kept, is_new=True)


@keeper_only
def address_edit(request: HttpRequest, pk: int, address_pk: int) -> HttpResponse:
    """Put an address right; open orders follow."""
    kept = _person(pk)
    address = get_object_or_404(Address, pk=address_pk, person=kept)
    form = AddressForm(typed(request), initial=address_form_values(address))
    answer = submit(
        request,
        lambda **how: actions.correct_address(address_pk, form.destination, **how),
        form,
        to=actions.person_url(kept),
        done="The address is put right. Boxes to it must be checked again.",
    )
    return answer or page(request, "people/address.html", form=form, person=kept, is_new=False)


@keeper_only
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Remove somebody on request; what their orders came to stays."""
    kept, form = _person(pk), PersonRemovalForm(typed(request))
    answer = submit(
        request,
        lambda **how: actions.remove_person(pk, **how),
        form,
        to="people:list",
        done="The person was removed. What their orders came to stays in the book.",
    )
    if answer:
        return answer
    return page(request, "people/remove.html", form=form, person=kept, open_orders=queries.open_order_numbers(kept))
