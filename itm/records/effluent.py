"""How much came out, was caught, got away and was hauled off, and whether that adds up.

Litres of liquid: foam is counted as the solution that it was. The sums are the book and not the
ground, so a difference is said and judged by nobody here; what a release has to be told, and to
whom, local rules say.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Max, QuerySet

from itm.accounts.actor import Actor
from itm.core import history
from itm.core.clock import date_at
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.figures import day
from itm.core.withdrawing import struck
from itm.records.merge import Crossed
from itm.records.models import Bottle, DirectRun, EffluentLine, FlowRun, Visit
from itm.records.queries import tests
from itm.registry.access import works_at
from itm.registry.contents import amount, contents
from itm.registry.models import ConcentrateLot, Site
from itm.registry.services import keep

Kind, Pfas = EffluentLine.Kind, ConcentrateLot.Pfas
DUST = 1e-4  # m³, a tenth of a litre: rounding between units and no effluent


@dataclass(frozen=True)
class Balance:
    """Sums of one occasion, m³. Of a kind that is not in `noted` nobody wrote anything, which is
    another thing than nothing."""

    discharged: float = 0.0
    collected: float = 0.0
    released: float = 0.0
    hauled: float = 0.0
    noted: frozenset[str] = frozenset()

    @property
    def unaccounted(self) -> float:
        """Discharged, and noted neither as collected nor as not collected."""
        return _plain(self.discharged - self.collected - self.released)

    @property
    def on_site(self) -> float:
        """Collected and not hauled away."""
        return _plain(self.collected - self.hauled)

    def differences(self, like: str) -> list[str]:
        """What does not add up, in sentences; `like` names the unit as “0 L” does."""
        return [*self.of_discharged(like), *self.of_collected(like)]

    def of_discharged(self, like: str) -> list[str]:
        """Between what came out and what became of it."""
        out = []
        if self.unaccounted > 0:
            out.append(
                f"{amount(self.unaccounted, like)} of what was discharged is noted neither as "
                "collected nor as not collected."
            )
        if self.unaccounted < 0:
            out.append(
                f"{amount(-self.unaccounted, like)} more was collected or got away than was "
                "discharged by what is noted: rain or flush water, or an amount is wrong."
            )
        return out

    def of_collected(self, like: str) -> list[str]:
        """Between what was caught and what was hauled away."""
        out = []
        if self.on_site > 0:
            out.append(
                f"{amount(self.on_site, like)} that was collected is not noted as hauled away."
            )
        if self.on_site < 0:
            out.append(
                f"{amount(-self.on_site, like)} more was hauled away than was collected by what "
                "is noted."
            )
        return out


@dataclass(frozen=True)
class Occasion:
    """A test day, or what came by itself, with its lines the newest first."""

    visit: Visit | None
    lines: tuple[EffluentLine, ...]

    @property
    def balance(self) -> Balance:
        return balance(self.lines)


def balance(lines: Iterable[EffluentLine]) -> Balance:
    """Of the lines that count; withdrawn ones do not."""
    found = [line for line in lines if line.withdrawn_at is None]
    return Balance(
        **{
            kind: math.fsum(one.volume for one in found if one.kind == kind) for kind in Kind.values
        },
        noted=frozenset(one.kind for one in found),
    )


def _plain(volume: float) -> float:
    return 0.0 if abs(volume) <= DUST else volume


# What is still done once nothing is in use there any more.
AFTERWARDS = (Kind.COLLECTED, Kind.HAULED)


# Read ---------------------------------------------------------------------------------------------


def lines(actor: Actor) -> QuerySet[EffluentLine]:
    """All that the actor may see, with what a line names."""
    return EffluentLine.objects.visible_to(actor).select_related(
        "site__owner", "visit__site", "visit__contractor", "organisation", "replaces", "replaced_by"
    )


def lines_at(actor: Actor, site: Site) -> list[EffluentLine]:
    """All of a site, withdrawn ones too, the newest first."""
    rows = EffluentLine.objects.visible_to(actor).filter(site=site)
    return list(rows.select_related("visit__site", "visit__contractor", "organisation", "site"))


def lines_of(actor: Actor, visit: Visit) -> list[EffluentLine]:
    rows = EffluentLine.objects.visible_to(actor).filter(visit=visit)
    return list(rows.select_related("organisation", "site"))


def line(actor: Actor, key: UUID) -> EffluentLine:
    row = lines(actor).filter(key=key).first()
    if row is None:
        raise NotFound("line of effluent", key)
    return row


def occasions(lines: Sequence[EffluentLine]) -> list[Occasion]:
    """In the order of their newest lines; what belongs to no test day stands together."""
    found: dict[int | None, list[EffluentLine]] = {}
    for one in lines:
        found.setdefault(one.visit_id, []).append(one)
    return [Occasion(group[0].visit, tuple(group)) for group in found.values()]


def may_note(actor: Actor, site: Site, visit: Visit | None = None) -> bool:
    """Who works at the site, and the crew of the visit also when its engagement is over, since
    waste papers come weeks later; for the same reason also when the site is retired."""
    crew = visit is not None and visit.contractor_id == actor.organisation_id
    return crew or works_at(actor, site)


@dataclass(frozen=True)
class AtLeast:
    """What the runs of a visit discharged for certain, m³, and of how many runs that is."""

    volume: float
    runs: int


def at_least(actor: Actor, visit: Visit) -> AtLeast:
    """Flow by the time from foam seen to the last sample, or by the time between two readings of a
    direct test: what came before and after is not in it."""
    own = tests(actor).filter(visit=visit).exclude(state="abandoned").values("pk")
    runs = FlowRun.objects.filter(test__in=own, solution_flow__isnull=False)
    last = Bottle.objects.in_use().filter(run__in=runs, taken_at__isnull=False)
    caught = dict(last.order_by().values_list("run").annotate(Max("taken_at")))
    times = dict(
        DirectRun.objects.filter(run__in=runs, duration__isnull=False).values_list(
            "run", "duration"
        )
    )
    volume, count = 0.0, 0
    for run in runs:
        seconds = times.get(run.pk)
        if seconds is None and run.foam_seen_at and run.pk in caught:
            seconds = (caught[run.pk] - run.foam_seen_at).total_seconds()
        if seconds and seconds > 0 and run.solution_flow:
            volume += run.solution_flow * seconds
            count += 1
    return AtLeast(volume, count)


def pfas_of(visit: Visit, on: date) -> str:
    """The worst of what stood in the tanks that the tests of the visit drew from; not known where
    no book says so. A tank that held PFAS before counts as holding it."""
    rows = visit.tests.exclude(state="abandoned").select_related("bench__tank", "tank")
    tanks = {test.drawn_from.pk: test.drawn_from for test in rows}
    found = set()
    for tank in tanks.values():
        held = contents(tank, tank.movements.in_force().select_related("lot"), on)
        found.add(held.before if held.before in (Pfas.CONTAINS, Pfas.UNKNOWN) else held.pfas)
        found.add(held.pfas)
    known = found - {""}
    if not tanks or "" in found or Pfas.UNKNOWN in known:
        return str(Pfas.CONTAINS if Pfas.CONTAINS in known else Pfas.UNKNOWN)
    return str(Pfas.CONTAINS if Pfas.CONTAINS in known else Pfas.FREE)


# Write --------------------------------------------------------------------------------------------


def require_note(actor: Actor, site: Site, visit: Visit | None = None) -> None:
    if not may_note(actor, site, visit):
        raise Forbidden(
            "Only the owner's own people or a contractor engaged here can note effluent."
        )


def note(
    *, actor: Actor, site: Site, visit: Visit | None, today: date, **values: Any
) -> EffluentLine:
    """`today` on the clock of the site. Refused not_started, other_site, day_ahead, retired,
    before_visit, not_valid."""
    require_note(actor, site, visit)
    return _write(EffluentLine(site=site, visit=visit), values, by=actor, today=today)


@transaction.atomic
def correct(
    *, actor: Actor, line: EffluentLine, because: str, today: date, at: datetime, **values: Any
) -> EffluentLine:
    """The right one takes the place of the wrong one, both at once. Refused as `note` and
    `withdraw` do."""
    old = withdraw(actor=actor, line=line, because=because, at=at)
    row = EffluentLine(site=old.site, visit=old.visit, kind=old.kind, replaces=old)
    return _write(row, values, by=actor, today=today)


@transaction.atomic
def withdraw(
    *, actor: Actor, line: EffluentLine, because: str, at: datetime,
    seen: Mapping[str, str] | None = None,
) -> EffluentLine:  # fmt: skip
    """It counts for nothing from now on and stays to be read with the reason. That reason never
    changes: who has `seen` it leaves another beside it in the history.

    Refused because_missing; Conflict when it was withdrawn already, Crossed for another reason.
    """
    require_note(actor, line.site, line.visit)
    rows = EffluentLine.objects.select_for_update(of=("self",)).select_related("site", "visit")
    row = rows.get(pk=line.pk)
    if row.withdrawn_at is None or because.strip() in ("", row.withdrawn_because):
        return struck(row, because, by=actor, at=at)
    if (seen or {}).get("withdrawn_because") != row.withdrawn_because:
        sentence = (
            f"{row.withdrawn_by} withdrew this already: “{row.withdrawn_because}”. You wrote "
            f"“{because.strip()}”. Theirs stays; send yours again to leave it beside theirs in the "
            "history."
        )
        raise Crossed({"withdrawn_because": sentence}, {"withdrawn_because": row.withdrawn_because})
    history.note(actor, "withdrawn", of=row, text=because.strip())
    return row


def _write(row: EffluentLine, values: dict[str, Any], *, by: Actor, today: date) -> EffluentLine:
    on, visit = values["happened_on"], row.visit
    if on > today:
        raise Refused("day_ahead", "This day has not come yet.", "happened_on")
    left = row.site.retired_on
    if left is not None and on > left and values.get("kind", row.kind) not in AFTERWARDS:
        raise Refused(
            "retired",
            f"{row.site} is retired since {day(left)}: what came out there did so on that day at "
            "the latest. What is collected and hauled away afterwards is noted as that.",
            "happened_on",
        )
    if visit is not None and visit.site_id != row.site_id:
        raise Refused("other_site", "This test day was at another site.")
    if visit is not None and visit.started_at is None:
        raise Refused("not_started", "This test day has not begun: nothing was discharged yet.")
    begun = visit and visit.started_at and date_at(row.site.time_zone, visit.started_at)
    if begun and on < begun:
        raise Refused(
            "before_visit", f"The test day began on {day(begun)}, after that day.", "happened_on"
        )
    row.organisation_id = by.organisation_id  # type: ignore[assignment]
    return keep(row, values, by=by, verb="noted")
