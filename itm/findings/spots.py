"""Whether the spot at which something was wrong can be measured any more.

A flow point that is retired, and a liquid that stands in the tank no more, get no later record:
what was found there would stay open for ever. It ends with a reason, and is open again once the
spot is back (`catching_up.after_spots_back`). Another name is no end of a point. A rule of our own:
no published source.
"""

from datetime import date
from typing import Any

from django.db.models import Max

from itm.core.figures import day
from itm.findings.models import Deficiency
from itm.findings.points import Names
from itm.findings.showing import NAMED_BY
from itm.records.models import ConcentrateCheck
from itm.registry.book import lines_of
from itm.registry.contents import as_of
from itm.registry.models import Proportioner, Tank
from itm.registry.properties import PROPERTIES


def gone_of(row: Deficiency) -> str:
    """In a sentence, or empty where a later record can still show the fix."""
    on = row.found_on
    if row.cause == Deficiency.Cause.CHECK:
        named = row.steps.filter(verb__in=NAMED_BY).values("concentrate_check")
        found = ConcentrateCheck.objects.filter(pk__in=named).aggregate(last=Max("checked_on"))
        on = found["last"] or on
    return gone(row.cause, row.spot, row.thing, on)


def gone(cause: str, spot: str, thing: Any, on: date) -> str:
    """`on`: the last day on which it was found. Strength and layers are looked at in whatever
    stands there next, so of those a later record comes."""
    if cause in Deficiency.OF_A_TEST and isinstance(thing, Proportioner):
        return _not_run(thing, spot)
    if cause == Deficiency.Cause.CHECK and spot in PROPERTIES and isinstance(thing, Tank):
        return _emptied_out(thing, on)
    return ""


def _not_run(thing: Proportioner, spot: str) -> str:
    points = Names(thing).by_spot(spot)
    if any(point.retired_on is None for point in points):
        return ""
    called = points[-1].name if points else spot
    return f"{thing} is not tested at “{called}” any more."


def _emptied_out(tank: Tank, on: date) -> str:
    lines = lines_of(tank)
    then = {lot.pk for lot, _ in as_of(lines, on).volumes}
    now = lines[-1].holds if lines else None
    if now is None or not then or then & {lot.pk for lot, _ in now.volumes}:
        return ""
    return f"Nothing of what stood in {tank} on {day(on)} is there any more."
