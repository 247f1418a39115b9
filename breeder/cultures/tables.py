"""Tables of tubs and lines."""

import django_tables2 as tables

from breeder.base.formatting import ago
from breeder.cultures.queries.tubs import TubRow

NUMBER = {"th": {"class": "num"}, "td": {"class": "num"}}


class TubTable(tables.Table):
    """Tubs in shelf order."""

    number = tables.TemplateColumn(
        '<a class="strong" href="{% url "cultures:tub" record.tub.number %}">{{ record.tub.number }}</a>',
        verbose_name="Tub",
        accessor="tub__number",
        order_by="tub__number",
    )
    line = tables.TemplateColumn(
        "{% line_name record.tub.line %}",
        accessor="tub__line",
        order_by=("line_words",),
        attrs={"td": {"unlabelled": True}},
    )
    place = tables.Column("Shelf", accessor="place_words", order_by=("place_order",))
    purpose = tables.TemplateColumn(template_name="cultures/_purpose.html", order_by=("tub__purpose",))
    relied = tables.Column("The book relies on", orderable=False)
    counted = tables.Column("Counted", accessor="counted_on", empty_values=(), attrs=NUMBER)
    looked = tables.Column("Looked", accessor="looked_on", empty_values=(), attrs=NUMBER)

    class Meta:
        empty_text = "No tub here. Start one with ‘New tub’, or choose another shelf."

    def render_counted(self, record: TubRow) -> str:
        said = ago(record.counted_on, record.today) if record.by_head else "by the cup"
        return f"{said} · count due" if record.count_due else said

    def render_looked(self, record: TubRow) -> str:
        return ago(record.looked_on, record.today)


class LineTable(tables.Table):
    """Open lines with what they can spare."""

    line = tables.TemplateColumn(
        '<a href="{% url "cultures:line" record.line.pk %}">{% line_name record.line %}</a>',
        accessor="name",
        attrs={"td": {"unlabelled": True}},
    )
    tubs = tables.Column("Tubs", accessor="tub_count", attrs=NUMBER)
    animals = tables.TemplateColumn(template_name="cultures/_line_bar.html", verbose_name="Safe count", orderable=False)
    free = tables.Column("Free", accessor="free_words", order_by=("free",), attrs=NUMBER)
    state = tables.Column("", accessor="state", orderable=False, default="")

    class Meta:
        empty_text = "No line yet. Add one with ‘New line’, then start its first tub."
