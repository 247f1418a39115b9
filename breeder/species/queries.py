"""Reads of species and lines."""

from django.db.models import BooleanField, Count, ExpressionWrapper, Q, QuerySet

from breeder.species.models import Line, Species

OPEN = ~Q(lines__status=Line.Status.CLOSED)


def species_list(search: str = "", group: str = "", band: str = "") -> QuerySet[Species]:
    """Return species with the number of their open lines, narrowed by name, group and band."""
    found = Species.objects.annotate(open_lines=Count("lines", filter=OPEN)).order_by("scientific_name", "qualifier")
    if search:
        named = Q(scientific_name__icontains=search) | Q(vernacular_name__icontains=search)
        found = found.filter(named | Q(family__icontains=search))
    if group:
        found = found.filter(group=group)
    return found.filter(band=band) if band else found


def lines_of(species: Species) -> QuerySet[Line]:
    """Return the lines of one species, open ones first."""
    closed_last = ExpressionWrapper(Q(status=Line.Status.CLOSED), output_field=BooleanField())
    return species.lines.select_related("species").order_by(closed_last, "form_name", "locality", "id")
