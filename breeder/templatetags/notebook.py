"""Tags and filters that every page uses (loaded everywhere by settings)."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django import template
from django.template.context import Context
from django.template.loader import render_to_string
from django.templatetags.static import static as static_url
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django_htmx.jinja import htmx_script as shipped_htmx_script

from breeder.base import dates, form_tokens, formatting, line_names, stock_bar, temperature_chart
from breeder.base import qr as square
from breeder.base.replies import replies_of
from breeder.core import units
from breeder.core.counting.plurals import number_text
from breeder.cultures import phrases as cultures_words
from breeder.orders.queries import line_customers

register = template.Library()

VERDICTS = {
    "go": ("go", "●", "Go"),
    "with pack": ("with-pack", "◆", "Go with pack"),
    "no-go": ("no-go", "■", "No-go"),
    "not decided": ("not-decided", "○", "Not decided"),
}


@register.simple_tag
def static(path: str) -> str:
    """Return the address of one of the app's own files."""
    return static_url(path)


@register.simple_tag
def htmx_script() -> SafeString:
    """Return the script element of htmx as shipped with django-htmx."""
    return shipped_htmx_script()


@register.simple_tag(takes_context=True)
def nav_link(context: Context, label: str, url_name: str, rooms: str) -> SafeString:
    """Return one link of the top bar, marked as current while one of its rooms is open."""
    match = context["request"].resolver_match
    here = bool(match) and match.app_name in rooms.split()
    current = mark_safe(' aria-current="page"') if here else ""
    return format_html('<li><a href="{}"{}>{}</a></li>', reverse(url_name), current, label)


@register.simple_tag(takes_context=True)
def once_token(context: Context) -> SafeString:
    """Return the hidden one-time token; a form that is shown again keeps its own, unless that was used up."""
    request = context.get("request")
    keeps = request and request.method == "POST" and not getattr(request, "needs_new_token", False)
    sent = request.POST.get("token", "") if keeps else ""
    return format_html('<input type="hidden" name="token" value="{}">', sent or form_tokens.new_token())


@register.inclusion_tag("base/_reply.html", takes_context=True)
def reply(context: Context, place: str, *forms: Any, number: object = "") -> dict[str, Any]:
    """Mark where a form is answered: before its buttons. `number` tells forms of the same kind on one page apart."""
    request = context.get("request")
    named = f"{place or getattr(request, 'path', '')}{f'-{number}' if number != '' else ''}"
    return {"place": named, "reply": replies_of(request).take(named, forms)}


@register.simple_tag(takes_context=True)
def as_reply(context: Context) -> SafeString:
    """Make an element the reply of its page, unless the page already showed a message: it shows what was asked for."""
    waiting = replies_of(context.get("request"))
    if waiting.is_shown:
        return mark_safe("")
    waiting.is_shown = True
    return mark_safe(' id="reply" tabindex="-1"')


@register.simple_tag(takes_context=True)
def open_for(context: Context, *places: str) -> str:
    """Return ' open' for a folded part of the page if it holds the form being answered."""
    replies = replies_of(context.get("request"))
    return " open" if any(replies.waits_at(place) for place in places) else ""


@register.simple_block_tag(takes_context=True)
def replies(context: Context, content: SafeString) -> SafeString:
    """Show a page, and above it the messages that no form on it showed."""
    waiting = replies_of(context.get("request"))
    top = {"messages": waiting.rest(), "is_first": not waiting.is_shown}
    return format_html("{}{}", mark_safe(render_to_string("base/_messages.html", top)), content)


@register.inclusion_tag("base/_qr.html")
def qr(content: str) -> dict[str, Any]:
    """Show a square code; black on white in dark mode too, since cameras read no other."""
    path, side = square.svg_path(f"{content}/")
    return {"path": path, "side": side, "held": content}


register.filter("day", dates.day_said)
register.filter("weekday", dates.weekday_said)
register.filter("moment", dates.moment_said)


@register.filter
def short_day(on: date | datetime | None) -> str:
    """Return a day with its short weekday: 'Fri 6 Mar'."""
    return dates.day_said(on, weekday=True, short=True)


register.simple_tag(line_names.species_name)
register.simple_tag(line_names.line_name)


@register.inclusion_tag("base/_pill.html")
def pill(verdict: str, large: bool = False) -> dict[str, Any]:
    """Show a verdict by word, shape and color."""
    kind, shape, word = VERDICTS[verdict or "not decided"]
    return {"kind": kind, "shape": shape, "word": word, "large": large}


@register.inclusion_tag("base/_bar.html")
def bar(
    stays: int = 0,
    promised: int = 0,
    free: int = 0,
    later: int = 0,
    short: int = 0,
    doubt: float = 0,
    unit: str = "animals",
    words: bool = False,
    scale: float = 0,
) -> dict[str, Any]:
    """Show the bar of animals; `scale` is the number that fills the whole width (default: this bar's own total)."""
    drawn = stock_bar.Bar(int(stays), int(promised), int(free), int(short), max(0, round(doubt)), unit, int(later))
    return {"parts": drawn.parts(scale), "hatches": drawn.hatches(scale), "said": drawn.said(), "words": words}


@register.inclusion_tag("base/_bar.html")
def stage_bar(stage: Any, words: bool = False) -> dict[str, Any]:
    """Show the bar of one stage of a line's stock."""
    parts = {name: getattr(stage, name) for name in ("stays", "promised", "free", "later", "short", "doubt")}
    return bar(**parts, unit=stage.stage, words=words)


@register.inclusion_tag("base/_bar_key.html")
def bar_key() -> dict[str, Any]:
    """Explain the colors of the bars."""
    return {}


@register.inclusion_tag("base/_curve.html", takes_context=True)
def curve(context: Context, box_curve: temperature_chart.BoxCurve) -> dict[str, Any]:
    """Show the temperature inside a box hour by hour, with its likely range and the limits."""
    return temperature_chart.drawn(box_curve, fahrenheit=context["household"].fahrenheit)


@register.inclusion_tag("orders/_who_has.html")
def who_has_line(line: Any) -> dict[str, Any]:
    """Show in short who got a line from the keeper."""
    return {"line": line, "who": line_customers.who_has(line_customers.handed_of_line(line.pk))}


@register.simple_tag(takes_context=True)
def degrees(context: Context, celsius: float | None, digits: int = 0) -> str:
    """Return a temperature in the household's unit, such as '8 °C'."""
    return units.degrees(celsius, fahrenheit=context["household"].fahrenheit, digits=digits)


@register.simple_tag(takes_context=True)
def degree_span(context: Context, kelvin: float | None, digits: int = 1) -> str:
    """Return a difference of temperatures in the household's unit."""
    return units.degree_span(kelvin, fahrenheit=context["household"].fahrenheit, digits=digits)


@register.simple_tag(takes_context=True)
def money(context: Context, amount: Decimal | None) -> str:
    """Return an amount with the household's currency; no amount is a dash."""
    return formatting.money(amount, context["household"].currency)


register.filter("many", number_text)  # templates use this name


@register.filter
def ago(day: date | datetime | None) -> str:
    """Return how long ago a day was: 'today', '9 days ago', 'in 3 days'."""
    return formatting.ago(day, timezone.localdate())


@register.filter(name="animals")
def so_many(number: int, stage: str) -> str:
    """Return '1 adult', '12 young', 'no cups'."""
    return cultures_words.animals(number, stage)


@register.filter
def odds(share: float | None) -> str:
    """Return a share as odds a person can picture: 'about 1 in 9'."""
    return formatting.odds(share)


@register.filter
def whole(number: float | None) -> str:
    """Return a number rounded to a whole one, with spaces between thousands."""
    return formatting.whole(number)
