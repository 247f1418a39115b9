"""Names of lines as they are printed."""

from dataclasses import dataclass

from breeder.documents.printed_text import Ink
from breeder.species.models import Line


@dataclass(frozen=True)
class Name:
    """A line's name in its parts: genus and species italic, everything else upright, the form in quotes."""

    scientific: str
    qualifier: str = ""
    form: str = ""
    locality: str = ""

    @classmethod
    def of(cls, line: Line) -> "Name":
        species = line.species
        return cls(species.scientific_name, species.qualifier, line.form_name, line.locality)

    def species(self, ink: Ink, *, bold: bool = False) -> str:
        """Return markup of the scientific name alone."""
        genus, _, epithet = self.scientific.partition(" ")
        if not self.qualifier:
            return ink(self.scientific, bold=bold, italic=True)
        parts = [ink(genus, bold=bold, italic=True), ink(self.qualifier, bold=bold)]
        return " ".join([*parts, ink(epithet, bold=bold, italic=True)] if epithet else parts)

    def kind(self, ink: Ink, *, bold: bool = False) -> str:
        """Return markup of form and locality; empty for a plain line."""
        form = f"‘{self.form}’" if self.form else ""
        return ink(", ".join(part for part in (form, self.locality) if part), bold=bold)

    def whole(self, ink: Ink, *, bold: bool = False) -> str:
        """Return markup of the whole name on one line."""
        joint = " " if self.form else ", "
        return joint.join(part for part in (self.species(ink, bold=bold), self.kind(ink, bold=bold)) if part)
