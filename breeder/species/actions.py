"""What the keeper does with species and lines."""

from collections.abc import Collection, Mapping
from typing import Any

from django.contrib.auth.models import AbstractBaseUser
from django.db import transaction
from django.db.models import QuerySet
from django.urls import reverse

from breeder.base.action_frame import action, refuse_twice
from breeder.base.queries import household
from breeder.base.steps import log
from breeder.species import rules, steps
from breeder.species.models import Line, Species
from breeder.species.species_fields import FIELDS, NOT_KNOWN, field_label, value_text
from breeder.species.starter_set import StarterSpecies, corrections, earlier_rows, starter_set

Keeper = AbstractBaseUser | None
ANOTHER_SPECIES = "Another species bears this name already. Choose another name or qualifier."
ANOTHER_LINE = "Another line of this species bears this form and locality already."


def load_starter_set(by: Keeper = None) -> int:
    """Add the species of the starter set that the book does not hold yet, and return how many; touch no other."""
    with transaction.atomic(durable=True):
        held = set(Species.objects.values_list("scientific_name", "qualifier"))
        new = [
            Species(scientific_name=one.scientific_name, qualifier=one.qualifier, sources=one.sources, **one.values)
            for one in starter_set()
            if (one.scientific_name, one.qualifier) not in held
        ]
        Species.objects.bulk_create(new)
        if new:
            log("species loaded", "starter set", f"{len(new)} species of the starter set were added.", by=by)
    return len(new)


def correct_starter_set(by: Keeper = None) -> int:
    """Correct what an earlier starter set had wrong or lacked, and return how many species changed.

    What the keeper changed stays (`starter.corrections`); every change is logged with the value before and after.
    """
    with transaction.atomic(durable=True):
        wanted = _to_correct(Species.objects.all())
        if not wanted:
            return 0
        lines = Line.objects.filter(species__in=[species for species, _, _ in wanted])
        steps.lock_lines(lines.values_list("pk", flat=True))
        # Read again after the turn: the keeper may have changed a value since.
        wanted = _to_correct(Species.objects.select_for_update())
        for species, starter, new in wanted:
            _correct(species, new, starter, by=by)
    return len(wanted)


def _to_correct(kept: QuerySet[Species]) -> list[tuple[Species, StarterSpecies, dict[str, Any]]]:
    """Return each species that the starter set corrects, with what becomes of its values."""
    earlier = earlier_rows()
    starters = {(starter.scientific_name, starter.qualifier): starter for starter in starter_set()}
    pairs = [(species, starters.get((species.scientific_name, species.qualifier))) for species in kept]
    known = [(species, starter) for species, starter in pairs if starter]
    return [(species, starter, new) for species, starter in known if (new := corrections(species, starter, earlier))]


def _correct(species: Species, new: Mapping[str, Any], starter: StarterSpecies, *, by: Keeper) -> None:
    setting = household()
    before = {name: value_text(species, name, setting) for name in new}
    for name, value in new.items():
        setattr(species, name, value)
    species.sources = species.sources | {name: starter.sources[name] for name in new}
    species.save(update_fields=[*new, "sources"])
    facts = {name: [before[name], value_text(species, name, setting)] for name in new}
    parts = [
        f"{field_label(name).lower()} was {was}, now {now}"
        for name, (was, now) in facts.items()
        if was not in (NOT_KNOWN, now)
    ]
    filled = [field_label(name).lower() for name in new if before[name] == NOT_KNOWN]
    parts += [f"new: {', '.join(filled)}"] if filled else []
    sentence = f"{species}, corrected from the starter set: {'; '.join(parts) or 'sources only'}."
    log("species corrected", str(species), sentence, by=by, facts=facts)


def _turn_for_species(species_id: int, *_: Any, **__: Any) -> Species:
    """Take the turn of a species' lines: how long adults live and how it breeds decide what they can spare."""
    steps.lock_lines(Line.objects.filter(species_id=species_id).values_list("pk", flat=True))
    return Species.objects.get(pk=species_id)


def _turn_for_line(line_id: int, *_: Any, **__: Any) -> Line:
    steps.lock_lines([line_id])
    return Line.objects.select_related("species").get(pk=line_id)


@action()
def add_species(
    values: Mapping[str, Any], *, by: Keeper, mark: str = "", source: str = "", usual: Collection[str] = ()
) -> Species:
    """Add a species; every value that is given gets the source that is given with it, the `usual` ones none."""
    species = Species(**values)
    given = {name: value for name, value in values.items() if name in FIELDS}
    species.sources = rules.sources_after({}, given, mark=mark, source=source, usual=usual)
    with refuse_twice(rules.NameTaken(f"{species} is in the book already. Open it and edit it there.")):
        species.save(force_insert=True)
    log("species added", str(species), f"{species} was added.", by=by)
    return species


@action(lock=_turn_for_species)
def edit_species(
    species: Species, values: Mapping[str, Any], *, by: Keeper, mark: str = "", source: str = ""
) -> Species:
    """Change values of a species; those that differ from the book become the keeper's own, or get the given source."""
    before = {name: getattr(species, name) for name in values}
    changed = [name for name, value in values.items() if before[name] != value]
    for name in changed:
        setattr(species, name, values[name])
    marked = {name: values[name] for name in changed if name in FIELDS}
    species.sources = rules.sources_after(species.sources, marked, mark=mark, source=source)
    if changed:
        with refuse_twice(rules.NameTaken(ANOTHER_SPECIES)):
            species.save(update_fields=[*changed, "sources"])
        _log_change(species, before, changed, by=by, reason=source)
    return species


def _log_change(species: Species, before: Mapping[str, Any], changed: list[str], *, by: Keeper, reason: str) -> None:
    said = "; ".join(f"{field_label(name).lower()} from {before[name]} to {getattr(species, name)}" for name in changed)
    facts = {name: [str(before[name]), str(getattr(species, name))] for name in changed}
    log("species changed", str(species), f"{species}: {said}.", by=by, reason=reason, facts=facts)


@action()
def add_line(values: Mapping[str, Any], *, by: Keeper) -> Line:
    """Start a line; where no number of breeders is given, the usual one stays."""
    line = Line(**with_minimums(values))
    with refuse_twice(rules.NameTaken(f"{line} is in the book already. Give another form or locality.")):
        line.save(force_insert=True)
    log("line started", str(line), f"{line} was started; {line.adults_kept} adults stay.", by=by)
    return line


@action(lock=_turn_for_line)
def edit_line(line: Line, values: Mapping[str, Any], *, by: Keeper, reason: str = "") -> Line:
    """Change a line; giving up protection needs a reason, which is logged. Raises NeedsReason."""
    after = with_minimums(values)
    rules.refuse_closing_frozen(line, after)
    gives_up = rules.check_reason(line, after, reason)
    facts = {k: [str(getattr(line, k)), str(v)] for k, v in after.items() if getattr(line, k) != v}
    for name, value in after.items():
        setattr(line, name, value)
    # Never all fields: the turn was moved on by the database, and an old copy would set it back.
    with refuse_twice(rules.NameTaken(ANOTHER_LINE)):
        line.save(update_fields=list(after))
    if facts:
        said = rules.joined_sentence(gives_up) if gives_up else f"Changed: {', '.join(map(field_words, facts))}."
        log("line changed", str(line), said, by=by, reason=reason, facts=facts)
    return line


def with_minimums(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return a line's values with the usual minimums where none were given."""
    filled = dict(values)
    if filled.get("adults_kept") is None:
        filled["adults_kept"] = rules.default_adults_kept(bool(filled.get("irreplaceable")))
    if filled.get("young_kept") is None:
        filled["young_kept"] = filled["adults_kept"]
    return filled


def field_words(name: str) -> str:
    """Return what a line's field is called."""
    return str(Line._meta.get_field(name).verbose_name)


def species_url(species: Species) -> str:
    """Return the address of a species' page."""
    return reverse("species:species", args=[species.pk])


def line_url(line: Line) -> str:
    """Return the address of a line's page, in the room of the tubs."""
    return reverse("cultures:line", args=[line.pk])
