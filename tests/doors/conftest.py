"""A test that was prepared at home, and the phones of its crew."""

from datetime import date

import pytest

from itm.accounts.actor import acting
from itm.actions.adopt import adopt
from itm.records import preparing, services
from itm.records.models import Visit
from itm.schedule.models import Duty, Programme
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


@pytest.fixture
def duty(scene, draft) -> Duty:
    """The monthly look at the proportioner, open in June."""
    adopt(
        actor=scene.owner, programme=Programme.objects.get(code="us-nfpa25-foam-water"),
        starts_on=date(2026, 5, 20), site=scene.site,
    )  # fmt: skip
    return Duty.objects.get(requirement__code="N25-04")


@pytest.fixture
def visit(draft) -> Visit:
    return draft.visit
