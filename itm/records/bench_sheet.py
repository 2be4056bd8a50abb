"""What stands on the bench of a test, as a person may read it."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Q

from calc.standards import Recipe, recipe
from itm.accounts.actor import Actor
from itm.core.errors import NotFound
from itm.records import queries
from itm.records.bench import CLOSED, why_closed
from itm.records.drafts import on_bench
from itm.records.loading import CAUGHT_ORDER
from itm.records.models import Bench, Bottle, FlowRun, ProportioningTest, Reading
from itm.records.weighing import percent_as_made

Role = Bottle.Role


@dataclass(frozen=True)
class Stand:
    """One bottle with its readings in the order they were read."""

    bottle: Bottle
    readings: list[Reading]
    recipe: Recipe | None  # mL, of a standard for the batch volume of the bench
    percent: float | None  # as made; 0 of water; None while the volumes are not written down

    @property
    def in_force(self) -> list[Reading]:
        return [reading for reading in self.readings if reading.set_aside_at is None]


@dataclass(frozen=True)
class Sheet:
    """Shared bottles, and the samples of this one test by flow point."""

    test: ProportioningTest
    bench: Bench
    water: list[Stand]
    standards: list[Stand]
    concentrate: list[Stand]
    waters_beside: list[Stand]  # the water once more, and that of the system
    samples: list[tuple[FlowRun, list[Stand]]]
    closed: str  # why nothing can be written to the samples, or nothing
    shared_closed: str  # the same for water, standards and concentrate

    @property
    def stands(self) -> list[Stand]:
        """In the order that serves the reading: lean to rich, the concentrate last."""
        samples = [stand for _, stands in self.samples for stand in stands]
        return [*self.water, *self.standards, *samples, *self.waters_beside, *self.concentrate]

    @property
    def may_add_system_water(self) -> bool:
        there = any(s.bottle.role == Role.SYSTEM_WATER for s in self.waters_beside)
        return bool(self.water) and not self.shared_closed and not there

    def find(self, reading_key: UUID) -> tuple[Stand, Reading]:
        """Raises NotFound."""
        for stand in self.stands:
            for reading in stand.readings:
                if reading.key == reading_key:
                    return stand, reading
        raise NotFound("reading", reading_key)

    def stand(self, bottle_key: UUID) -> Stand:
        """Raises NotFound."""
        for stand in self.stands:
            if stand.bottle.key == bottle_key:
                return stand
        raise NotFound("bottle", bottle_key)


def sheet(actor: Actor, key: UUID) -> Sheet:
    """The bench of a test that the actor may see, in a fixed number of queries.

    Raises NotFound; Refused no_bench.
    """
    test = queries.test(actor, key)
    bench = on_bench(test)
    bench.visit = test.visit
    own = Q(run=None) | Q(run__test=test)
    bottles = bench.bottles.in_use().filter(own).prefetch_related("readings")
    stands = [stand_of(bottle, bench) for bottle in bottles.order_by(*CAUGHT_ORDER)]
    by_run: dict[int, list[Stand]] = {}
    for stand in stands:
        if stand.bottle.run_id is not None:
            by_run.setdefault(stand.bottle.run_id, []).append(stand)
    others = list(bench.tests.select_related("proportioner"))
    return Sheet(
        test=test,
        bench=bench,
        water=[s for s in stands if s.bottle.role == Role.WATER],
        standards=sorted(
            (s for s in stands if s.bottle.role == Role.STANDARD),
            key=lambda s: (s.bottle.target_percent or 0, s.bottle.position),
        ),
        concentrate=[s for s in stands if s.bottle.role == Role.CONCENTRATE],
        waters_beside=[s for s in stands if s.bottle.role in (Role.WATER_AGAIN, Role.SYSTEM_WATER)],
        samples=[(run, by_run.get(run.pk, [])) for run in test.runs.all()],
        closed=closed(test),
        shared_closed=closed(test) or shared_closed(others),
    )


def shared_closed(tests: Sequence[ProportioningTest]) -> str:
    """Why nothing more can be written to what all tests of a bench rest on, or nothing."""
    return next((why_closed(t, own=False) for t in tests if t.state in CLOSED), "")


def closed(test: ProportioningTest) -> str:
    """Why nothing more can be written to this test, or nothing."""
    return "" if test.state == ProportioningTest.State.DRAFT else why_closed(test, own=True)


def stand_of(bottle: Bottle, bench: Bench) -> Stand:
    """A bottle whose readings were fetched."""
    pour = None
    if bottle.role == Role.STANDARD and bottle.target_percent is not None:
        pour = recipe(float(bench.batch_volume_ml), float(bottle.target_percent))
    return Stand(
        bottle=bottle,
        readings=sorted(bottle.readings.all(), key=lambda r: (r.read_at, r.sequence, r.pk)),
        recipe=pour,
        percent=percent_as_made(bottle, bench),
    )
