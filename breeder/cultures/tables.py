"""Tables of tubs and lines.

Cells are rendered without the request: with it, every row would run the context processors and their queries.
"""

import django_tables2 as tables
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from breeder.base.formatting import ago
from breeder.base.line_names import line_name
from breeder.cultures.queries.tubs import LineRow, TubRow

NUMBER = {"th": {"class": "num"}, "td": {"class": "num"}}


class TubTable(tables.Table):
    """Tubs in shelf order."""

    number = tables.Column("Tub", accessor="tub__number", order_by="tub__number")
    line = tables.Column(accessor="line_words", attrs={"td": {"unlabelled": True}})
    place = tables.Column("Shelf", accessor="place_words", order_by=("place_order",))
    purpose = tables.Column(accessor="tub__purpose", order_by=("tub__purpose",))
    relied = tables.Column("The book relies on", orderable=False)
    counted = tables.Column("Counted", accessor="counted_on", empty_values=(), attrs=NUMBER)
    looked = tables.Column("Looked", accessor="looked_on", empty_values=(), attrs=NUMBER)

    class Meta:
        empty_text = "No tub here. Start one with ‘New tub’, or choose another shelf."

    def render_number(self, record: TubRow) -> SafeString:
        number = record.tub.number
        return format_html('<a class="strong" href="{}">{}</a>', reverse("cultures:tub", args=[number]), number)

    def render_line(self, record: TubRow) -> SafeString:
        return line_name(record.tub.line)

    def render_purpose(self, record: TubRow) -> SafeString:
        return render_to_string("cultures/_purpose.html", {"record": record})

    def render_counted(self, record: TubRow) -> str:
        said = ago(record.counted_on, record.today) if record.by_head else "by the cup"
        return f"{said} · count due" if record.count_due else said

    def render_looked(self, record: TubRow) -> str:
        return ago(record.looked_on, record.today)


class LineTable(tables.Table):
    """Open lines with what they can spare."""

    line = tables.Column(accessor="name", attrs={"td": {"unlabelled": True}})
    tubs = tables.Column("Tubs", accessor="tub_count", attrs=NUMBER)
    animals = tables.Column("Safe count", accessor="shown", orderable=False)
    free = tables.Column("Free", accessor="free_words", order_by=("free",), attrs=NUMBER)
    state = tables.Column("", accessor="state", orderable=False, default="")

    class Meta:
        empty_text = "No line yet. Add one with ‘New line’, then start its first tub."

    def render_line(self, record: LineRow) -> SafeString:
        address = reverse("cultures:line", args=[record.line.pk])
        return format_html('<a href="{}">{}</a>', address, line_name(record.line))

    def render_animals(self, record: LineRow) -> SafeString:
        return render_to_string("cultures/_line_bar.html", {"record": record})
