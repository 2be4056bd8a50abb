"""What is on record of any number of proportioners, in a number of queries that does not grow."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from django.db.models import F, FilteredRelation, Q

from itm.accounts.actor import Actor
from itm.records.models import ProportioningTest
from itm.registry.models import Proportioner, TankMovement
from itm.schedule.models import Happening
from itm.trends.events import HAPPENINGS, Filled
from itm.trends.latest import FlowPointResult, State, results_of

Key = TypeVar("Key")
Row = TypeVar("Row")


@dataclass(frozen=True)
class Kept:
    """Rows by the primary key of what they hang on; each list oldest first."""

    tests: dict[int, list[ProportioningTest]]  # by proportioner, as left after as found
    results: dict[int, tuple[FlowPointResult, ...]]  # by test
    fills: dict[int, list[TankMovement]]  # by tank
    over: frozenset[tuple[int, int]]  # (fill, system)
    happened: dict[tuple[int, int | None], list[Happening]]  # by site and system; None: whole site

    def filled(self, device: Proportioner) -> list[Filled]:
        return [
            Filled(fill, (fill.pk, device.system_id) in self.over)
            for fill in self.fills[device.tank_id]
        ]

    def happenings(self, device: Proportioner) -> list[Happening]:
        site = device.system.site_id
        return self.happened[site, device.system_id] + self.happened[site, None]


def kept_of(actor: Actor, devices: Sequence[Proportioner]) -> Kept:
    """Of devices that the actor was shown to see, with their systems at hand."""
    tests = _sealed_tests(actor, devices)
    systems = {device.system_id for device in devices}
    at_site = Q(system__in=systems)
    at_site |= Q(system=None, site__in={device.system.site_id for device in devices})
    happened = Happening.objects.visible_to(actor).filter(
        at_site, kind__in=HAPPENINGS, withdrawn_on=None
    )
    fills, over = _fills(actor, {device.tank_id for device in devices}, systems)
    return Kept(
        tests=_grouped((test.proportioner_id, test) for test in tests),
        results=results_of(test.pk for test in tests),
        fills=_grouped((fill.tank_id, fill) for fill in fills),
        over=over,
        happened=_grouped(
            ((one.site_id, one.system_id), one) for one in happened.order_by("happened_on", "pk")
        ),
    )


def _fills(
    actor: Actor, tanks: set[int], systems: set[int]
) -> tuple[list[TankMovement], frozenset[tuple[int, int]]]:
    """What went into the tanks, and which system was changed over by which fill, in one query: a
    fill that changed several over comes once for each."""
    turned = FilteredRelation(
        "changeovers_in",
        condition=Q(changeovers_in__withdrawn_because="", changeovers_in__system__in=systems),
    )
    rows = (
        TankMovement.objects.visible_to(actor).in_force().filter(tank__in=tanks, lot__isnull=False)
    )
    rows = rows.annotate(turned=turned).annotate(over=F("turned__system")).select_related("lot")
    found = list(rows)
    over = frozenset((fill.pk, fill.over) for fill in found if fill.over is not None)
    return list({fill.pk: fill for fill in found}.values()), over


def _sealed_tests(actor: Actor, devices: Sequence[Proportioner]) -> list[ProportioningTest]:
    rows = ProportioningTest.objects.visible_to(actor).filter(
        proportioner__in=[device.pk for device in devices], state=State.SEALED
    )
    rows = rows.select_related(
        "visit__contractor", "bench__instrument", "amends", "direct__concentrate_meter",
        "direct__second_meter",
    )  # fmt: skip
    return list(rows.order_by("tested_on", "phase", "pk"))


def _grouped(pairs: Iterable[tuple[Key, Row]]) -> dict[Key, list[Row]]:
    """A key without rows has an empty list."""
    found: dict[Key, list[Row]] = defaultdict(list)
    for key, row in pairs:
        found[key].append(row)
    return found
