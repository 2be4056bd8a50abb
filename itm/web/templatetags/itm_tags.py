"""The figures of `itm.core.figures` as template filters.

Meant for single figures. A view that fills a long table formats its rows in Python instead: a
filter call a cell costs more than the query that fetched the rows.
"""

from django import template

from itm.core.figures import day, instant, percent, thin

register = template.Library()
for write in (day, instant, percent, thin):
    register.filter(write.__name__, write)
