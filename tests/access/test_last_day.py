"""An engagement begins and ends with the days of its site, whatever the clock of the server shows.

Offsets from the IANA time zone database: in June Auckland is 12 hours before UTC and Los Angeles 7
behind it; Etc/GMT-14 is 14 before it, since its sign is turned round.
"""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from itm.core.clock import date_at
from itm.core.errors import Refused
from itm.core.local_dates import LocalDate
from itm.records.services import plan_visit
from itm.registry.access import works_at
from itm.registry.models import Site, SiteAuthority
from itm.registry.models.guards import known_zones

FIRST, LAST = date(2026, 6, 15), date(2026, 6, 20)
CASES = [
    # zone, instant, whether the engagement covers it
    ("Pacific/Auckland", datetime(2026, 6, 14, 11, 59, tzinfo=UTC), False),
    ("Pacific/Auckland", datetime(2026, 6, 14, 12, 0, tzinfo=UTC), True),
    ("Pacific/Auckland", datetime(2026, 6, 14, 20, 0, tzinfo=UTC), True),  # 08:00 of the first day
    ("Pacific/Auckland", datetime(2026, 6, 20, 12, 0, tzinfo=UTC), False),
    ("America/Los_Angeles", datetime(2026, 6, 15, 6, 59, tzinfo=UTC), False),
    ("America/Los_Angeles", datetime(2026, 6, 15, 7, 0, tzinfo=UTC), True),
    ("America/Los_Angeles", datetime(2026, 6, 21, 0, 30, tzinfo=UTC), True),  # 17:30 of the last
    ("America/Los_Angeles", datetime(2026, 6, 21, 7, 0, tzinfo=UTC), False),
    ("Etc/GMT-14", datetime(2026, 6, 14, 10, 0, tzinfo=UTC), True),
    ("Etc/GMT-14", datetime(2026, 6, 14, 9, 59, tzinfo=UTC), False),
    ("UTC", datetime(2026, 6, 14, 23, 59, tzinfo=UTC), False),
    ("UTC", datetime(2026, 6, 17, 12, 0, tzinfo=UTC), True),
]


def moved(scene, zone: str):
    """The scene at a site of that zone; the contractor is engaged from `FIRST` to `LAST`."""
    scene.site.time_zone = zone
    scene.site.save(by=scene.owner)
    grant = scene.site.grants.get()
    grant.starts_on, grant.ends_on = FIRST, LAST
    grant.save(by=scene.owner)
    return scene


@pytest.mark.parametrize(("zone", "at", "covered"), CASES)
def test_days_of_an_engagement_are_those_of_the_site(scene, zone, at, covered):
    moved(scene, zone)
    actor = replace(scene.contractor, today=at.date(), at=at)
    assert Site.objects.visible_to(actor).exists() == covered
    assert works_at(actor, scene.site) == covered
    if not covered:
        with pytest.raises(Refused, match="not engaged"):
            plan_visit(actor=actor, site=scene.site, planned_on=FIRST)
    else:
        assert plan_visit(actor=actor, site=scene.site, planned_on=FIRST).site == scene.site


@pytest.mark.parametrize(("zone", "at", "covered"), [one for one in CASES if one[1].day > 16])
def test_so_are_those_of_an_authority_that_lets_go(scene, zone, at, covered):
    moved(scene, zone)
    row = scene.site.site_authorities.get()
    row.ended_on = LAST
    row.save(by=scene.owner)
    actor = replace(scene.authority, today=at.date(), at=at)
    assert Site.objects.visible_to(actor).exists() == covered


def test_the_database_reckons_the_date_of_every_zone_as_the_program_does(scene):
    row = SiteAuthority.objects.get()
    for number, zone in enumerate(sorted(known_zones())):
        if number % 7 and "GMT" not in zone:
            continue  # a seventh of them, and all whose name is turned round
        scene.site.time_zone = zone
        scene.site.save(by=scene.owner)
        for hours in (0, 5, 11, 13, 20):
            at = datetime(2026, 3, 8, 0, 7, tzinfo=UTC) + timedelta(hours=hours)
            found = SiteAuthority.objects.annotate(here=LocalDate(at, "site__time_zone"))
            assert found.get(pk=row.pk).here == date_at(zone, at), (zone, at)
