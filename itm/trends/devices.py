"""What is known of proportioners side by side: latest result, duties, out of service or not."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.records.models import LatestRecord, RestorationLine
from itm.records.restoration import OUT
from itm.registry.models import Proportioner
from itm.schedule.due import Standing, standing
from itm.schedule.models import Duty, Requirement
from itm.schedule.queries import asked
from itm.trends.latest import LatestResult, results_of
from itm.trends.wrong_systems import NONE, Open, in_words, open_at_devices


@dataclass(frozen=True)
class DeviceRow:
    """One proportioner on one line. `test` and `check` are the open duties, `out` what is out."""

    proportioner: Proportioner
    latest: LatestResult | None
    test: Standing | None
    retest: Standing | None
    check: Standing | None
    out: bool
    wrong: Open = NONE  # open deficiencies at it, at its tank and at its system

    @property
    def wrong_words(self) -> str:
        return in_words(self.wrong)


def proportioners(actor: Actor) -> QuerySet[Proportioner]:
    """Those in use that the actor sees, by site, system and tag."""
    rows = Proportioner.objects.visible_to(actor).filter(
        retired_on=None, system__retired_on=None, system__site__retired_on=None
    )
    return rows.select_related("system__site__owner", "tank").order_by(
        "system__site__name", "system__name", "tag", "pk"
    )


def device_rows(
    devices: Sequence[Proportioner], now: datetime, *, with_wrong: bool = True
) -> list[DeviceRow]:
    """Rows for devices that the actor was shown to see; the number of queries does not grow.
    A page that names what is open by itself reads it once and not again for its rows.

    Out is a device with a line of its restoration list out, or of a system that somebody took out
    of service by hand.
    """
    latest = latest_results(devices)
    tests, retests, checks = duties_of(devices, now)
    wrong = open_at_devices(devices) if with_wrong else {}
    lines = RestorationLine.objects.filter(
        OUT,
        proportioner__in=[device.pk for device in devices],
        visit__started_at__isnull=False,
        visit__restored_at=None,
    )
    by_hand = Proportioner.objects.filter(
        pk__in=[device.pk for device in devices], system__impairments__back_at=None,
        system__impairments__impairment__visit=None,
        system__impairments__impairment__ended_at=None,
        system__impairments__isnull=False,
    )  # fmt: skip
    of_lines = lines.order_by().values_list("proportioner_id", flat=True)
    out = set(of_lines.union(by_hand.order_by().values_list("pk", flat=True)))
    return [
        DeviceRow(
            proportioner=device,
            latest=latest.get(device.pk),
            test=tests.get(device.pk),
            retest=retests.get(device.pk),
            check=checks.get(device.tank_id),
            out=device.pk in out,
            wrong=wrong.get(device.pk, NONE),
        )
        for device in devices
    ]


def latest_results(devices: Sequence[Proportioner]) -> dict[int, LatestResult]:
    """The latest record in force of each device, by the device's primary key; two queries."""
    rows = LatestRecord.objects.filter(proportioner__in=[device.pk for device in devices])
    tests = [row.test for row in rows.select_related("test")]
    results = results_of(test.pk for test in tests)
    return {test.proportioner_id: LatestResult(test, results.get(test.pk, ())) for test in tests}


Standings = dict[int | None, Standing]


def duties_of(
    devices: Sequence[Proportioner], now: datetime
) -> tuple[Standings, Standings, Standings]:
    """Open tests and retests by proportioner, open checks by tank; the most urgent of each."""
    own = Duty.objects.filter(
        proportioner__in=[device.pk for device in devices],
        requirement__task=Requirement.Task.PROPORTIONING_TEST,
    )
    tanks = Duty.objects.filter(
        tank__in=[device.tank_id for device in devices],
        requirement__task=Requirement.Task.CONCENTRATE_CHECK,
    )
    tests: Standings = {}
    retests: Standings = {}
    checks: Standings = {}
    # Each by its own index: joined by "or" they cost SQLite a look at every duty.
    either = own.order_by().values("pk").union(tanks.order_by().values("pk"))
    rows = asked(Duty.objects.filter(pk__in=either)).order_by("latest_on", "pk")
    columns = (
        "tank", "proportioner", "cause", "window_opens_on", "due_on", "latest_on",
        "site__time_zone",
    )  # fmt: skip
    for tank, device, cause, opens, due, latest, zone in rows.values_list(*columns):
        stands = standing(opens, due, latest, date_at(zone, now))
        if tank is not None:
            checks.setdefault(tank, stands)
        elif cause == Duty.Cause.RETEST:
            retests.setdefault(device, stands)
        else:
            tests.setdefault(device, stands)
    return tests, retests, checks
