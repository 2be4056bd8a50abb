"""What a record shows: what is wrong by it, what it proves right, and when its work was done.

Hand-in, catching up and closing all ask here, so that they mean the same by “later” and “right”.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db.models import Prefetch

from itm.findings import rules
from itm.findings.models import Deficiency, Step
from itm.findings.points import Names
from itm.findings.rules import Found
from itm.records.evaluate import supply
from itm.records.models import (
    ConcentrateCheck,
    Evaluation,
    FlowRun,
    InspectionLine,
    ProportioningTest,
    Record,
    RestorationLine,
)
from itm.records.models.kept import LINKS
from itm.schedule.models import Duty

Origin = Record | InspectionLine | RestorationLine | Duty
Place = tuple[str, str]  # cause and spot
AT_A_TIME = 100
NAMED_BY = (Step.Verb.OPENED, Step.Verb.FOUND_AGAIN)
DAY: dict[Any, tuple[str, ...]] = {
    ProportioningTest: ("tested_on", "phase"), ConcentrateCheck: ("checked_on",)
}  # fmt: skip
RELATED: dict[Any, tuple[str, ...]] = {
    ProportioningTest: ("site", "visit__contractor", "proportioner__system", "bench__tank", "tank"),
    ConcentrateCheck: ("site", "tank", "organisation"),
}


@dataclass(frozen=True)
class Shown:
    """`fine`: where it proves that nothing is wrong; what is undecided proves nothing."""

    found: tuple[Found, ...]
    fine: frozenset[Place]
    hook: Mapping[str, Any]
    on: date


def shown(
    record: Record, result: Mapping[str, Any], then: datetime | None = None,
    names: Names | None = None,
) -> Shown:  # fmt: skip
    """`record` with its runs, tank and system at hand (`records.loading`). `then`: when the result
    was worked out, where that is not now; `names` of its proportioner where they are known."""
    if isinstance(record, ProportioningTest):
        lasts = supply(record, dict(result))
        spots = (names or Names(record.proportioner)).of_test(record, then)
        fine = {(cause, name) for name in rules.proved(result) for cause in ("lean", "rich")}
        fine |= {("supply", name) for name in rules.lasting(lasts)}
        return Shown(
            tuple(
                replace(one, spot=spots.get(one.spot, one.spot))
                for one in rules.of_test(result, lasts)
            ),
            frozenset((cause, spots.get(name, name)) for cause, name in fine),
            {"proportioner": record.proportioner}, record.tested_on,
        )  # fmt: skip
    fine = {("check", spot) for spot in rules.cleared(result)}
    return Shown(
        tuple(rules.of_check(result)), frozenset(fine), {"tank": record.tank}, record.checked_on
    )


def moment(origin: Origin) -> tuple[Any, ...]:
    """The order of the work, whenever it came in: as left comes after as found. Begins with the
    name of its kind, since only rows of one kind can be compared."""
    if isinstance(origin, ProportioningTest):
        return ("test", origin.tested_on, origin.phase, origin.pk)
    if isinstance(origin, ConcentrateCheck):
        return ("check", origin.checked_on, origin.pk)
    if isinstance(origin, InspectionLine):
        return ("inspection", origin.inspection.done_on, origin.pk)
    if isinstance(origin, Duty):
        return ("duty", origin.latest_on, origin.pk)
    return ("line", origin.ended_at, origin.pk)


def later(one: Origin | None, other: Origin | None) -> bool:
    """Whether the work of `one` came after that of `other`."""
    if one is None or other is None or type(one) is not type(other):
        return False
    return moment(one) > moment(other)


def missed(duty: Duty, since_on: date | None) -> bool:
    """Whether a cycle that was overdue from that day on is one that was missed, as its dates now
    stand: a record that came in late can show that it was done in time."""
    if since_on is None or duty.withdrawn_on is not None or duty.latest_on >= since_on:
        return False
    return duty.done_on is None or duty.done_on >= since_on


def in_force(model: type[Record], **where: Any) -> Iterator[tuple[Any, Shown]]:
    """What was handed in or sealed and no sealed record corrects, in the order of the work, each
    with what it shows by the result that it was handed in with."""
    state, related, day = model.State, RELATED[model], DAY[model]
    rows: Any = model.objects.filter(state__in=[state.HANDED_IN, state.SEALED], **where)
    rows = rows.exclude(amendments__state=state.SEALED).select_related(*related)
    results = Prefetch("evaluations", Evaluation.objects.defer("inputs").order_by("pk"))
    if model is ProportioningTest:
        rows = rows.prefetch_related(Prefetch("runs", FlowRun.objects.select_related("flow_point")))
    names: dict[int, Names] = {}
    for record in rows.prefetch_related(results).order_by(*day, "pk").iterator(AT_A_TIME):
        kept = list(record.evaluations.all())
        if not kept:
            continue
        known = None
        if isinstance(record, ProportioningTest):
            device = record.proportioner
            known = names[device.pk] = names.get(device.pk) or Names(device)
        yield record, shown(record, kept[-1].result, kept[-1].made_at, known)


def stands(row: Deficiency) -> bool:
    """Whether something that its life names is in force and shows it, as it now stands. What went
    back and came in again the same, or is corrected by what nobody has signed, still does."""
    if row.cause == Deficiency.Cause.OVERDUE:
        said = row.steps.filter(verb__in=[*NAMED_BY, Step.Verb.UNSETTLED]).order_by("pk").last()
        return said is not None and said.verb != Step.Verb.UNSETTLED
    # A note names a record where what was found later showed in it already.
    named = row.steps.filter(verb__in=[*NAMED_BY, Step.Verb.NOTED])
    if row.cause == Deficiency.Cause.INSPECTION:
        lines = InspectionLine.objects.filter(pk__in=named.values("inspection_line"))
        return lines.filter(outcome=InspectionLine.Outcome.FAULT, corrected_by=None).exists()
    if row.cause == Deficiency.Cause.LEFT_OUT:
        out = RestorationLine.objects.filter(pk__in=named.values("restoration_line"))
        return out.filter(outcome=RestorationLine.Outcome.LEFT_OUT, followed_by=None).exists()
    model: Any = ProportioningTest if row.cause in Deficiency.OF_A_TEST else ConcentrateCheck
    records = in_force(model, pk__in=named.values(LINKS[model]))
    return any(
        (one.cause, one.spot[:200]) == (row.cause, row.spot)
        for _, seen in records
        for one in seen.found
    )


def after(record: Record) -> Iterator[tuple[Any, Shown]]:
    """Records in force about the same thing whose work was done after that of this one."""
    hook = (
        {"proportioner": record.proportioner}
        if isinstance(record, ProportioningTest)
        else {"tank": record.tank}
    )
    name = DAY[type(record)][0]
    since = {f"{name}__gte": getattr(record, name)}
    return (
        (other, seen)
        for other, seen in in_force(type(record), **hook, **since)
        if later(other, record)
    )
