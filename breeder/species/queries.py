"""Reads of species and lines."""

from django.db.models import BooleanField, Count, ExpressionWrapper, Q, QuerySet

from breeder.species.models import Line, Species

OPEN = ~Q(lines__status=Line.Status.CLOSED)


def species_list(search: str = "", group: str = "", band: str = "") -> QuerySet[Species]:
    """Return species with the number of their open lines, narrowed by name, group and band."""
    species = Species.objects.annotate(open_lines=Count("lines", filter=OPEN)).order_by("scientific_name", "qualifier")
    if search:
        named = Q(scientific_name__icontains=search) | Q(vernacular_name__icontains=search)
        species = species.filter(named | Q(family__icontains=search))
    if group:
        species = species.filter(group=group)
    return species.filter(band=band) if band else species


def species_lines(species: Species) -> QuerySet[Line]:
    """Return the lines of a species, open ones first."""
    closed_last = ExpressionWrapper(Q(status=Line.Status.CLOSED), output_field=BooleanField())
    return species.lines.select_related("species").order_by(closed_last, "form_name", "locality", "id")
