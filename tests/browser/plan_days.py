"""Plans test days in the database of a demo, as a contractor would at home. Prints their keys.

Run in a process of its own, `python -m tests.browser.plan_days COUNT DIRECT ROUNDS AS_LEFT`, with
ITM_DATA naming the folder: the process of the tests has another database. COUNT days have a bench
and a check, DIRECT days a test by each direct method, AS_LEFT days a test after an adjustment, and
ROUNDS days a task of inspection each that is due at another proportioner of the site.
"""

import json
import os
import sys
from datetime import date, datetime, timedelta
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "itm.settings")
CONTRACTOR, SITE = "contractor@example.org", "Veldwick works"


def plan(count: int, direct: int, rounds: int, as_left: int) -> dict[str, list[dict[str, Any]]]:
    from django.utils import timezone

    from itm.accounts.actor import acting, open_memberships
    from itm.accounts.models import User
    from itm.core.clock import date_at
    from itm.records import checking, preparing, services
    from itm.registry.models import Instrument, Proportioner

    now = timezone.now()
    user = User.objects.get(email=CONTRACTOR)
    actor = acting(open_memberships(user, now.date())[0], now.date(), at=now)
    device = Proportioner.objects.filter(system__site__name=SITE, retired_on=None).first()
    meters = Instrument.objects.filter(organisation=actor.organisation, method="refractive_index")
    finest = meters.order_by("resolution").first()
    assert device is not None
    assert finest is not None
    today = date_at(device.system.site.time_zone, now)
    out = []
    for _ in range(count):
        visit = services.plan_visit(
            actor=actor, site=device.system.site, planned_on=today, crew="A crew of two"
        )
        bench = preparing.open_bench(
            actor=actor, visit=visit, tank=device.tank, instrument=finest,
            water_source="hydrant at the gate", glassware="25 mL syringe, 500 mL cylinder",
        )  # fmt: skip
        test = preparing.prepare_test(
            actor=actor, visit=visit, proportioner=device, bench=bench, at=now,
            purpose="periodic", phase="as_found",
        )  # fmt: skip
        runs = [(str(run.key), run.flow_point.name) for run in test.runs.all()]
        check = checking.begin_check(
            actor=actor, tank=device.tank, at=now, purpose="periodic", programmes=["european"],
            checked_on=today,
        )  # fmt: skip
        keys = {"visit": visit.key, "test": test.key, "check": check.key}
        out.append({**{name: str(key) for name, key in keys.items()}, "runs": runs})
    return {
        "bench": out,
        "direct": [_direct(actor, device, today, now) for _ in range(direct)],
        "as_left": [_as_left(actor, device, finest, today, now) for _ in range(as_left)],
        "left": [_short(actor, device, finest, today, now)],
        "round": _rounds(actor, device, finest, rounds, today, now) if rounds else [],
    }


def _rounds(
    actor: Any, device: Any, meter: Any, count: int, today: date, now: datetime
) -> list[dict[str, Any]]:
    """The owner adopts a programme whose monthly look is open today, whichever day it is: one of
    each proportioner of the site, and as many proportioners are added as looks are wanted."""
    from calc.units import FLOW
    from itm.accounts.actor import acting
    from itm.accounts.models import Membership
    from itm.actions.add_proportioner import add_proportioner
    from itm.actions.adopt import adopt
    from itm.core.quantities import apart, quantity
    from itm.records import inspection_queries
    from itm.registry.models import Proportioner
    from itm.registry.services import PointRow
    from itm.schedule.models import Programme

    site = device.system.site
    manager = Membership.objects.filter(organisation=site.owner, role="manager").earliest("pk")
    owner = acting(manager, today, at=now)
    there = Proportioner.objects.filter(system__site=site, retired_on=None).count()
    for number in range(there, count):
        add_proportioner(
            actor=owner, system=device.system, tank=device.tank, kind=device.kind,
            nominal_percent=device.nominal_percent, tag=f"PR-L{number}", restoration_order=[],
            flush_order=list(device.flush_order),
            flow_points=[
                PointRow(point.name, quantity(*apart(point.flow_typed, FLOW), FLOW))
                for point in device.flow_points.filter(retired_on=None)
            ],
        )  # fmt: skip
    adopt(
        actor=owner, site=site, starts_on=today - timedelta(days=40),
        programme=Programme.objects.get(code="us-nfpa25-foam-water"),
    )  # fmt: skip
    looks = inspection_queries.to_inspect(actor, site)
    assert len(looks) >= count, looks
    return [
        {
            **_short(actor, device, meter, today, now),
            "task": str(look.key),
            "words": look.requirement.words,
        }
        for look in looks[:count]
    ]


def _short(actor: Any, device: Any, meter: Any, today: date, now: datetime) -> dict[str, Any]:
    """A test of which only the first flow point is prepared."""
    from itm.records import preparing, services

    first, *left = device.flow_points.filter(retired_on=None).order_by("flow")
    visit = services.plan_visit(
        actor=actor, site=device.system.site, planned_on=today, crew="A crew of two"
    )
    bench = preparing.open_bench(
        actor=actor, visit=visit, tank=device.tank, instrument=meter,
        water_source="hydrant at the gate", glassware="25 mL syringe, 500 mL cylinder",
    )  # fmt: skip
    test = preparing.prepare_test(
        actor=actor, visit=visit, proportioner=device, bench=bench, at=now, purpose="periodic",
        flow_points=[first],
    )  # fmt: skip
    points = {"left": str(left[-1].key), "left_name": left[-1].name}
    return {"visit": str(visit.key), "test": str(test.key), **points}


def _as_left(actor: Any, device: Any, meter: Any, today: date, now: datetime) -> dict[str, Any]:
    """A test after an adjustment, beside that of what was found."""
    from itm.records import preparing, services

    visit = services.plan_visit(
        actor=actor, site=device.system.site, planned_on=today, crew="A crew of two"
    )
    bench = preparing.open_bench(
        actor=actor, visit=visit, tank=device.tank, instrument=meter,
        water_source="hydrant at the gate", glassware="25 mL syringe, 500 mL cylinder",
    )  # fmt: skip
    _, test = (
        preparing.prepare_test(
            actor=actor, visit=visit, proportioner=device, bench=bench, at=now, purpose="periodic",
            phase=phase, adjusted=adjusted,
        )
        for phase, adjusted in (("as_found", ""), ("as_left", "the metering orifice"))
    )  # fmt: skip
    return {"visit": str(visit.key), "test": str(test.key)}


def _direct(actor: Any, device: Any, today: date, now: datetime) -> dict[str, Any]:
    """Each method on one visit: the foam that another liquid is compared with is in the history."""
    from itm.records import preparing, services

    site = device.system.site
    visit = services.plan_visit(actor=actor, site=site, planned_on=today, crew="A crew of two")
    tests = {}
    liquids = {"draw_down": "", "two_flows": "", "weighed": "", "other_liquid": "water"}
    for method, liquid in liquids.items():
        test = preparing.prepare_test(
            actor=actor, visit=visit, proportioner=device, at=now, purpose="periodic",
            bench=preparing.Direct(method, liquid),
        )  # fmt: skip
        runs = [(str(run.key), run.flow_point.name) for run in test.runs.all()]
        tests[method] = {"visit": str(visit.key), "test": str(test.key), "runs": runs}
    return {"visit": str(visit.key), "tests": tests}


if __name__ == "__main__":
    django.setup()
    print(json.dumps(plan(*map(int, sys.argv[1:]))))
