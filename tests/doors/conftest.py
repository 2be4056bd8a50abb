"""A test that was prepared at home, and the phones of its crew."""

from datetime import date

import pytest

from itm.accounts.actor import acting
from itm.records import preparing, services
from tests.doors.phone import MORNING, Phone
from tests.factories import MembershipFactory


@pytest.fixture
def draft(scene):
    """Prepared, and not started."""
    visit = services.plan_visit(
        actor=scene.contractor, site=scene.site, planned_on=date(2026, 6, 15)
    )
    bench = preparing.open_bench(
        actor=scene.contractor, visit=visit, tank=scene.tank, instrument=scene.instrument,
        water_source="hydrant at the rack", glassware="10 mL pipette, 200 mL flask",
    )  # fmt: skip
    return preparing.prepare_test(
        actor=scene.contractor, visit=visit, proportioner=scene.proportioner, bench=bench,
        at=MORNING, purpose="periodic",
    )  # fmt: skip


@pytest.fixture
def phone(scene):
    return Phone(scene.contractor)


@pytest.fixture
def other_phone(scene):
    """A second person of the same crew."""
    member = MembershipFactory(organisation=scene.contractor.organisation)
    return Phone(acting(member, scene.contractor.today, via="field"))
