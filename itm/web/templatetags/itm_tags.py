"""The figures of `itm.core.figures` and quantities in the reader's units as template filters.

Meant for single figures. A view that fills a long table formats its rows in Python instead: a
filter call a cell costs more than the query that fetched the rows.
"""

from functools import lru_cache

from django import template
from django.template.loader import render_to_string

from itm.core.conversions import quantity
from itm.core.figures import day, instant, percent, thin

register = template.Library()
for write in (day, instant, percent, quantity, thin):
    register.filter(write.__name__, write)


@register.simple_tag
def drawn(part: str, **said: str) -> str:
    """A part that shows nothing but a few words handed to it, as `include ... only` would.

    Rendered once for the same words: a list of fifty rows repeats a handful of marks.
    """
    return _drawn(part, tuple(sorted(said.items())))


@lru_cache(maxsize=200)
def _drawn(part: str, said: tuple[tuple[str, str], ...]) -> str:
    return render_to_string(part, dict(said))


@register.filter
def with_unit(typed: str, unit: str) -> str:
    """A number that was entered beside its unit, as the reader reads it."""
    return quantity(f"{typed} {unit}") if unit else typed
