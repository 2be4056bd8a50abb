"""Of inspections: when each task of a round was done again, and which photos it names."""

from collections.abc import Collection, Iterator
from datetime import date

from django.db.models import TextField
from django.db.models.functions import Cast

from itm.records.models import InspectionLine


def next_rounds(sites: Collection[int]) -> dict[int, date]:
    """The day by which every task of an inspection was done again on its thing; one of which a
    task was never done again is not in it."""
    rows = InspectionLine.objects.filter(inspection__site__in=sites).order_by(
        "-inspection__done_on", "-pk"
    )
    names = ("requirement", "proportioner", "tank", "equipment", "system", "inspection__site")
    later: dict[tuple[object, ...], list[date]] = {}
    out: dict[int, date | None] = {}
    for inspection, on, *task in rows.values_list("inspection", "inspection__done_on", *names):
        days = later.setdefault(tuple(task), [])
        if not days or days[-1] != on:
            days.append(on)
        again = days[-2] if len(days) > 1 else None
        so_far = out.get(inspection, date.min)
        out[inspection] = None if again is None or so_far is None else max(so_far, again)
    return {pk: on for pk, on in out.items() if on is not None}


def pictured(sites: Collection[int]) -> Iterator[tuple[int, str]]:
    """Inspections with the keys of the photos that their answers name."""
    rows = InspectionLine.objects.filter(inspection__site__in=sites)
    named = rows.annotate(text=Cast("answers", TextField())).filter(text__contains='"attachment"')
    for inspection, answers in named.values_list("inspection", "answers"):
        for one in answers:
            if one.get("attachment"):
                yield inspection, one["attachment"]
