"""Pages of the book of rules: where animals may go, what carriers take, permits. A helper reads, the keeper writes."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from breeder.base.csv_export import csv_answer
from breeder.base.paging import in_pages
from breeder.base.roles import is_keeper, keeper_only
from breeder.base.submit import page, submit
from breeder.carriers import rule_actions, rule_csv, rulebook
from breeder.carriers.models import CarrierRule, MovementRule, Permit
from breeder.carriers.rule_forms import AskForm, CarrierRuleForm, MovementRuleForm, PermitForm, RulesFileForm
from breeder.carriers.rule_tables import CarrierTable, MovementTable, PermitTable
from breeder.core.compliance import movement
from breeder.core.compliance.facts import Movement
from breeder.species.models import Species


def rules(request: HttpRequest) -> HttpResponse:
    """Show what is on record of where animals may go, and answer for one species and one place."""
    asked = AskForm(request.GET if "into" in request.GET else None, species=Species.objects.all())
    answer = None
    if asked.is_bound and asked.is_valid():
        book = rulebook.read_rules(request.household.region)  # type: ignore[attr-defined]
        way = Movement(book.home, asked.cleaned_data["into"], timezone.localdate())
        answer = movement.movement_answer(
            rulebook.plain_animal(asked.cleaned_data["species"]), way, book.rules, book.permits
        )
    table = _table(request, MovementTable, MovementRule.objects.all())
    return render(request, "carriers/rules.html", {"table": table, "asked": asked, "answer": answer})


def carrier_rules(request: HttpRequest) -> HttpResponse:
    """Show what is on record of what carriers take."""
    table = _table(request, CarrierTable, CarrierRule.objects.select_related("service"))
    return render(request, "carriers/carrier_rules.html", {"table": table})


def permits(request: HttpRequest) -> HttpResponse:
    """Show the permits, those that ran out too."""
    table = _table(request, PermitTable, Permit.objects.select_related("person"))
    return render(request, "carriers/permits.html", {"table": table})


@keeper_only
def rule(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Write a movement rule down, or change it."""
    start = {name: request.GET[name] for name in ("taxon", "destination") if name in request.GET}
    return _form_page(request, MovementRule, MovementRuleForm, "carriers:rules", pk, start)


@keeper_only
def carrier_rule(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Write down what a carrier says, or change it."""
    return _form_page(request, CarrierRule, CarrierRuleForm, "carriers:carrier_rules", pk, {})


@keeper_only
def permit(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Write a permit down, or change it."""
    return _form_page(request, Permit, PermitForm, "carriers:permits", pk, {})


@keeper_only
def rules_csv(request: HttpRequest) -> HttpResponse:
    """Send the movement rules as a file for a spreadsheet; the same file can be read in again."""
    rows = rule_csv.rule_rows(MovementRule.objects.all())
    return csv_answer("rules.csv", rule_csv.COLUMNS, rows)


@keeper_only
def rules_upload(request: HttpRequest) -> HttpResponse:
    """Take a file of movement rules, all of it or nothing."""
    form = RulesFileForm(request.POST or None, request.FILES or None)

    def act(**how: Any) -> int:
        rules = rule_csv.rules_in(form.cleaned_data["file"].read(rule_csv.MOST_BYTES + 1))
        number: int = rule_actions.keep_file(rules, **how)
        return number

    answer = submit(request, act, form, to="carriers:rules", done=_many_kept)
    return answer or page(request, "carriers/rules_file.html", form=form, columns=rule_csv.COLUMNS)


def _many_kept(number: int) -> str:
    return f"{'1 rule of the file is' if number == 1 else f'{number} rules of the file are'} in the book."


def _table(request: HttpRequest, kind: Any, rows: Any) -> Any:
    table = kind(rows, today=timezone.localdate(), edits=is_keeper(request.user))
    in_pages(request, table)
    return table


def _say_uncovered(request: HttpRequest, row: Any) -> None:
    """Warn of names that cover no species: a slip of the keyboard would be found by nobody."""
    taxa = row.taxa if isinstance(row, Permit) else [row.taxon]
    for taxon in (one for one in taxa if rulebook.covers_nothing(one)):
        messages.warning(request, f"No species in the book is covered by ‘{taxon}’. Check how it is spelt.")


def _form_page(
    request: HttpRequest, kind: Any, form_of: Any, back: str, pk: int | None, start: dict[str, str]
) -> HttpResponse:
    """Show the form of one row; keep it, or take it out of the book."""
    kept = get_object_or_404(kind, pk=pk) if pk else kind()
    if pk and "remove" in request.POST:
        # Only the button was pressed: what stands in the fields is not looked at.
        done = "It is out of the book. The log keeps what it said."
        answer = submit(request, lambda **how: rule_actions.remove(kept, **how), to=back, done=done)
        return answer or redirect(back)
    form = form_of(request.POST or None, instance=kept, initial=start)
    answer = submit(
        request,
        lambda **how: rule_actions.keep(form.save(commit=False), **how),
        form,
        to=back,
        done=lambda row: f"{row} is in the book.",
    )
    if answer:
        _say_uncovered(request, answer.result)
        return answer
    shown = {"form": form, "row": kept, "back": reverse(back), "is_permit": kind is Permit, "kept": bool(pk)}
    return page(request, "carriers/rule.html", **shown)
