"""The figures of `itm.core.figures` as template filters.

Meant for single figures. A view that fills a long table formats its rows in Python instead: a
filter call a cell costs more than the query that fetched the rows.
"""

from django import template

from itm.core import figures

register = template.Library()
register.filter("percent", figures.percent)
register.filter("day", figures.day)
register.filter("instant", figures.instant)
register.filter("thin", figures.thin)
