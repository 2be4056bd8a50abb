"""By which word a flow point is the spot of what is found there, whatever it is called since.

A result names flow points as they were called when it was worked out. A point that is renamed, or
changes its name with another, is still the same one: what is open there stays there, and is proved
right there alone. The word is the first name that it had, so it never changes. A rule of our own:
no published source.
"""

from datetime import datetime
from typing import Any

from itm.core.history import Change
from itm.records.models import ProportioningTest
from itm.registry.models import FlowPoint, Proportioner


class Names:
    """The flow points of one proportioner with all names that they had."""

    def __init__(self, device: Proportioner) -> None:
        self.points = list(device.flow_points.order_by("pk"))
        lines = Change.objects.filter(
            model=FlowPoint._meta.label, object_key__in=[point.key for point in self.points]
        )
        self._until: dict[Any, list[tuple[datetime, str]]] = {}
        for key, at, before in lines.order_by("pk").values_list("object_key", "at", "before"):
            if "name" in before:
                self._until.setdefault(key, []).append((at, before["name"]))
        self._spots: dict[int, str] = {}
        given: dict[str, int] = {}
        for point in self.points:
            first = self.all_of(point)[0]
            given[first] = number = given.get(first, 0) + 1
            self._spots[point.pk] = first if number == 1 else f"{first} ({number})"

    def all_of(self, point: FlowPoint) -> list[str]:
        """The first one first, that of today last."""
        return [*(name for _, name in self._until.get(point.key, ())), point.name]

    def at(self, point: FlowPoint, then: datetime | None) -> str:
        """What it was called at that moment; today where none is given."""
        changes = self._until.get(point.key, ()) if then is not None else ()
        return next((name for at, name in changes if then is not None and at > then), point.name)

    def spot(self, point: FlowPoint) -> str:
        return self._spots[point.pk]

    def of_test(self, test: ProportioningTest, then: datetime | None) -> dict[str, str]:
        """By each name in a result of that moment, the spot. `test` with its runs at hand."""
        runs = [run.flow_point for run in test.runs.all()]
        return {self.at(point, then): self.spot(point) for point in runs}

    def by_spot(self, spot: str) -> list[FlowPoint]:
        """The point whose spot this is; where none has it, those that were once called so."""
        own = [point for point in self.points if self.spot(point)[:200] == spot]
        return own or [point for point in self.points if spot in self.all_of(point)]

    def said(self, spot: str) -> str:
        """Its name of today, with the first one where that was another."""
        points = self.by_spot(spot)
        if len(points) != 1:
            return spot
        now, first = points[0].name, self.all_of(points[0])[0]
        return now if now == first else f"{now} (first called {first})"
