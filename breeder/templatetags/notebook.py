"""Tags and filters that every page uses (loaded everywhere by settings)."""

from django import template

register = template.Library()
