"""All proportioning tests that the reader may see, over all sites or of one."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_GET

from itm.core.figures import day
from itm.records import finding
from itm.records.results import state_words
from itm.web.guard import actor_of, signed_in
from itm.web.listing import (
    Cell,
    Column,
    List,
    Narrow,
    beside,
    in_one_file,
    show,
    wanted,
    within_site,
)

LIMITS = Narrow(
    "limits", "Limits", (("in band", "in band"), ("lean", "lean"), ("rich", "rich"))
)  # fmt: skip
STATE = Narrow("state", "State", finding.STATES)
LEADS = {
    "owner": "Tests at your sites, from the day they are handed in.",
    "contractor": "Tests of your organisation, and those handed in where it is engaged.",
    "authority": "Sealed tests in your jurisdiction.",
}


@signed_in
@require_GET
def records(request: HttpRequest) -> HttpResponse:
    actor, (_, within) = actor_of(request), within_site(request)
    asked = wanted(request, (LIMITS, STATE), within)
    listed = List(
        title="Records",
        lead=LEADS[actor.kind],
        columns=(
            Column("Tested on", "tested_on"),
            Column("Site", "site"),
            Column("System", "system"),
            Column("Proportioner", "proportioner"),
            Column("Limits", "limits"),
            Column("State"),
            Column("Report"),
        ),
        cells=_cells,
        empty="No test yet that is yours to see.",
        retirable=False,
        beside=[in_one_file(request, "tests"), *beside("records")],
        narrows=(LIMITS, STATE),
        within=within,
    )
    return show(request, listed, finding.listed_tests(actor, asked), asked)


def _cells(row: Any) -> tuple[Cell, ...]:
    device, sealed = row.proportioner, row.sealed_at is not None
    result = ", ".join(filter(None, (row.limits, row.certainty)))
    return (
        Cell(day(row.tested_on), reverse("test", args=[row.key])),
        Cell(row.site.name, reverse("site", args=[row.site.key])),
        Cell(device.system.name, reverse("system", args=[device.system.key])),
        Cell(device.tag, reverse("proportioner", args=[device.key])),
        Cell(f"{result}, as left" if row.phase == "as_left" and result else result),
        Cell(state_words(row)),
        Cell("Report", reverse("report", args=[row.key])) if sealed else Cell(""),
    )


urls: list[URLPattern] = [path("records/", records, name="records")]
