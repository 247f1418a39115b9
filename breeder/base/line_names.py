"""Names of species and lines as every page shows them."""

from typing import Any

from django.utils.html import format_html
from django.utils.safestring import SafeString


def species_name(species: Any) -> SafeString:
    """Return a scientific name: genus and epithet italic, qualifier and 'sp.' upright."""
    genus, _, rest = str(species.scientific_name).partition(" ")
    qualifier = species.qualifier
    if not qualifier:
        return format_html('<i class="name">{}</i>', species.scientific_name)
    if not rest:
        return format_html('<i class="name">{}</i> {}', genus, qualifier)
    return format_html('<i class="name">{}</i> {} <i class="name">{}</i>', genus, qualifier, rest)


def line_name(line: Any) -> SafeString:
    """Return a line's name: the species, the form upright in single quotes, the locality."""
    form = format_html(' <span class="form-name">‘{}’</span>', line.form_name) if line.form_name else ""
    place = format_html(" <small>{}</small>", line.locality) if line.locality else ""
    return format_html("{}{}{}", species_name(line.species), form, place)
