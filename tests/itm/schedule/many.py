"""A great many invented duties, one on each of a great many tanks; the same ones every time."""

import random
from collections.abc import Sequence
from datetime import date, timedelta

from itm.accounts.actor import system
from itm.core import history
from itm.registry.models import Site, Tank
from itm.schedule.models import Duty, Requirement
from itm.schedule.standing import stand
from tests.factories import TankFactory


def many_duties(sites: Sequence[Site], count: int, *, begun: date, days: int = 800) -> None:
    """Windows of any width, some of none, that open within so many days of `begun`, the day by
    which they stand."""
    drawn = random.Random(20260615)
    requirement = Requirement.objects.filter(task=Requirement.Task.CONCENTRATE_CHECK)[0]
    by = system(begun)
    tanks = [
        TankFactory.build(site=sites[number % len(sites)], tag=f"M-{number}")
        for number in range(count)
    ]
    with history.bulk(by, "invented", Tank):
        tanks = Tank.objects.bulk_create(tanks)
    duties = []
    for tank in tanks:
        opens = begun + timedelta(days=drawn.randrange(-60, days))
        due = opens + timedelta(days=drawn.choice([0, 0, 1, 30, 92]))
        duty = Duty(
            site=tank.site, requirement=requirement, tank=tank,
            counts_from=opens - timedelta(days=drawn.choice([1, 270])), window_opens_on=opens,
            due_on=due, latest_on=due + timedelta(days=drawn.choice([0, 0, 1, 28, 92])),
        )  # fmt: skip
        stand(duty, begun)
        duties.append(duty)
    with history.bulk(by, "invented", Duty):
        Duty.objects.bulk_create(duties)
