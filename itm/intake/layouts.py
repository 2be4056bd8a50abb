"""Which table each kind of file holds, and who can bring which in."""

from django.db.models import Q

from itm.intake.equipment_layout import EQUIPMENT
from itm.intake.models import Upload
from itm.intake.past_check_layout import PAST_CHECKS
from itm.intake.past_inspection_layout import PAST_INSPECTIONS
from itm.intake.record_layouts import HISTORY, readings
from itm.intake.registry_layouts import (
    INSTRUMENTS,
    LOTS,
    PROPORTIONERS,
    SITES,
    SYSTEMS,
    TANKS,
)
from itm.intake.tables.layout import Layout
from itm.intake.value_layout import VALUES
from itm.records.drafts import on_bench

Kind = Upload.Kind
LAYOUTS = {
    layout.kind: layout
    for layout in (
        HISTORY,
        PAST_CHECKS,
        PAST_INSPECTIONS,
        SITES,
        SYSTEMS,
        TANKS,
        PROPORTIONERS,
        EQUIPMENT,
        LOTS,
        INSTRUMENTS,
        VALUES,
    )
}


def layout_of(upload: Upload) -> Layout:
    if upload.test is not None:
        bench = on_bench(upload.test)
        own = Q(run=None) | Q(run__test=upload.test)
        return readings(bench.instrument, list(bench.bottles.in_use().filter(own)))
    return LAYOUTS[upload.kind]


def documented(kind: str) -> Layout:
    """As the page of columns and the example file show it."""
    return readings(None) if kind == Kind.READINGS else LAYOUTS[kind]


def kinds_for(actor_kind: str) -> list[tuple[str, str]]:
    """What an organisation of this kind can bring in: owners what hangs on their sites, and both
    what was measured of bottles of their own checks."""
    mine = {
        "owner": (
            Kind.HISTORY, Kind.PAST_CHECKS, Kind.PAST_INSPECTIONS, Kind.SITES, Kind.SYSTEMS,
            Kind.TANKS, Kind.PROPORTIONERS, Kind.EQUIPMENT, Kind.LOTS, Kind.VALUES,
        ),
        "contractor": (
            Kind.READINGS, Kind.VALUES, Kind.HISTORY, Kind.PAST_CHECKS,
            Kind.PAST_INSPECTIONS, Kind.INSTRUMENTS,
        ),
    }.get(actor_kind, ())  # fmt: skip
    return [(kind.value, str(kind.label)) for kind in mine]
