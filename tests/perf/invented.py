"""An invented world of any size in a database of its own: sites, things, duties and old records."""

import os
import random
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.db import connection, models
from django.utils import timezone

from itm.accounts.actor import Actor, system
from itm.accounts.models import Organisation
from itm.core import history
from itm.records import latest
from itm.records.models import Bench, LatestRecord, ProportioningTest, Visit
from itm.registry.models import (
    Equipment,
    FoamSystem,
    Instrument,
    Proportioner,
    Site,
    SiteAuthority,
    Tank,
)
from itm.schedule.models import Duty, Requirement
from itm.schedule.standing import stand
from tests.factories import (
    EquipmentFactory,
    FoamSystemFactory,
    InstrumentFactory,
    OrganisationFactory,
    ProportionerFactory,
    SiteAuthorityFactory,
    SiteFactory,
    TankFactory,
)

DUTIES = 40
VALVES = 10  # pieces of equipment a site
YEARS = 5  # records of each proportioner
ZONES = ["Europe/Lisbon", "America/Denver", "Asia/Kolkata", "Pacific/Auckland", "UTC"]
NOW = timezone.now().replace(hour=12, minute=0, second=0, microsecond=0)
TODAY = NOW.date()
BY = system(TODAY)


@contextmanager
def own_database() -> Iterator[None]:
    named = connection.settings_dict
    if connection.vendor == "sqlite":
        named["TEST"]["NAME"] = os.path.join(os.environ["ITM_DATA"], "perf.sqlite3")
    else:
        named["TEST"]["NAME"] = f"itm_perf_{os.getpid()}"
    before = named["NAME"]
    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    try:
        yield
    finally:
        connection.creation.destroy_test_db(before, verbosity=0)


def laid(model: type[models.Model], rows: Sequence[Any]) -> list[Any]:
    with history.bulk(BY, "invented", model):
        return list(model._default_manager.bulk_create(rows, batch_size=2000))


def grow(owner: Actor, authority: Organisation, count: int, drawn: random.Random) -> None:
    """So many more sites, each with one system, proportioner and tank, equipment, duties and
    records; one duty in forty is overdue, one record in twelve does not prove its device."""
    begun = Site.objects.count()
    for start in range(begun, begun + count, 250):
        numbers = range(start, min(start + 250, begun + count))
        sites = laid(
            Site,
            [
                SiteFactory.build(
                    owner=owner.organisation, name=f"Invented {n:05}",
                    address=f"{n} Harbour Road", time_zone=ZONES[n % len(ZONES)],
                )
                for n in numbers
            ],
        )  # fmt: skip
        laid(SiteAuthority, [overseen(site, authority) for site in sites])
        systems = laid(FoamSystem, [FoamSystemFactory.build(site=site) for site in sites])
        tanks = laid(Tank, [TankFactory.build(site=site) for site in sites])
        devices = laid(Proportioner, [
            ProportionerFactory.build(system=row, tank=tank)
            for row, tank in zip(systems, tanks, strict=True)
        ])  # fmt: skip
        laid(Equipment, [
            EquipmentFactory.build(site=row.site, system=row)
            for row in systems for _ in range(VALVES)
        ])  # fmt: skip
        duties_of(devices, drawn)
        records_of(devices, drawn)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def overseen(site: Site, authority: Organisation) -> SiteAuthority:
    return SiteAuthorityFactory.build(site=site, organisation=authority)


def duties_of(devices: Sequence[Proportioner], drawn: random.Random) -> None:
    test = Requirement.objects.filter(task=Requirement.Task.PROPORTIONING_TEST).order_by("pk")[0]
    rows = list(Requirement.objects.exclude(task=test.task).order_by("pk")[: DUTIES - 1])
    if len(rows) < DUTIES - 1:
        raise SystemExit("The programmes hold fewer rows than a site has duties here.")
    laid(Duty, [
        duty
        for device in devices
        for duty in (
            invented(device.system.site, test, drawn, proportioner=device),
            *(invented(device.system.site, row, drawn, system=device.system) for row in rows),
        )
    ])  # fmt: skip


def invented(site: Site, requirement: Requirement, drawn: random.Random, **hook: Any) -> Duty:
    """Yearly, nine to fifteen months, anywhere in its cycle; one in forty is past its end."""
    late = drawn.random() < 1 / 40
    latest_on = TODAY + timedelta(days=drawn.randrange(-200, 0) if late else drawn.randrange(457))
    due = latest_on - timedelta(days=92)
    duty = Duty(
        site=site, requirement=requirement, counts_from=due - timedelta(days=365),
        window_opens_on=due - timedelta(days=91), due_on=due, latest_on=latest_on, **hook,
    )  # fmt: skip
    stand(duty, TODAY)
    return duty


def records_of(devices: Sequence[Proportioner], drawn: random.Random) -> None:
    """Outcomes without benches of their own: lists read no more."""
    crew = Organisation.objects.filter(name="Invented crew").first() or OrganisationFactory(
        name="Invented crew", kind=Organisation.Kind.CONTRACTOR
    )
    meter = Instrument.objects.first() or InstrumentFactory(organisation=crew)
    visits = laid(Visit, [
        Visit(site=device.system.site, contractor=crew, planned_on=TODAY, started_at=NOW,
              restored_at=NOW)
        for device in devices
    ])  # fmt: skip
    benches = laid(Bench, [
        Bench(visit=visit, tank=device.tank, instrument=meter)
        for visit, device in zip(visits, devices, strict=True)
    ])  # fmt: skip
    tests = []
    for visit, bench, device in zip(visits, benches, devices, strict=True):
        for year in range(YEARS):
            tests.append(record(visit, bench, device, year, drawn))
    laid(LatestRecord, [
        LatestRecord(proportioner_id=test.proportioner_id, test=test, tested_on=test.tested_on,
                     rank=latest.rank_of(test))
        for test in laid(ProportioningTest, tests)[::YEARS]
    ])  # fmt: skip


def record(
    visit: Visit, bench: Bench, device: Proportioner, year: int, drawn: random.Random
) -> ProportioningTest:
    on = TODAY - timedelta(days=365 * year + drawn.randrange(300) + 1)
    at = datetime.combine(on, time(12), NOW.tzinfo)
    limits = drawn.choice(["lean", "rich"]) if drawn.random() < 1 / 12 else "in band"
    return ProportioningTest(
        site=visit.site, visit=visit, proportioner=device, bench=bench, purpose="periodic",
        phase=f"year {year}", tested_on=on, state="sealed", sealed_at=at, handed_in_at=at,
        limits=limits, certainty="settled", nominal_percent=Decimal(3), criterion="fixed-systems",
        band_lower=Decimal(3), band_upper=Decimal("3.9"),
    )  # fmt: skip
