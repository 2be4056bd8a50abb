"""One line of the list of next things, made of the row that it tells of."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.records.models import ProportioningTest
from itm.registry.models import Certificate, Instrument
from itm.schedule import calibrations
from itm.schedule.due import Standing
from itm.schedule.models import Duty
from itm.schedule.told import told
from itm.trends.latest import LatestResult, State
from itm.trends.unsigned import Unsigned


@dataclass(frozen=True)
class Thing:
    """One line: what, where, how long, who has it, and the page where it goes on."""

    kind: str
    what: str
    site: str
    where: str
    how_long: str
    who: str
    page: str
    key: UUID
    detail: str = ""
    standing: Standing | None = None
    limits: str = ""
    certainty: str = ""


def not_proven(
    kind: str, latest: LatestResult, retest: Standing | None, engaged: dict[int, str]
) -> Thing:
    test = latest.test
    figures = ", ".join(f"{figure} % at {name}" for name, figure in latest.figures)
    waits = test.state == State.HANDED_IN
    how_long = f"tested {latest.tested_on}"
    if waits:
        how_long += ", not signed yet"
    elif retest is not None:
        how_long += f"; retest: {retest.words}"
    return Thing(
        kind=kind,
        what="Latest result",
        site=test.site.name,
        where=f"{test.proportioner.system.name}, {test.proportioner.tag}",
        how_long=how_long,
        who=test.visit.contractor.name if waits else engaged.get(test.site_id, ""),
        page="test",
        key=test.key,
        detail=figures,
        limits=test.limits,
        certainty=test.certainty,
    )


def to_do(duty: Duty, stands: Standing, engaged: dict[int, str]) -> Thing:
    said = told(duty)
    return Thing(
        kind=stands.name,
        what=said.what,
        site=duty.site.name,
        where=said.where,
        how_long=stands.words,
        who=engaged.get(duty.site_id, ""),
        page=said.page,
        key=said.key,
        detail=f"counted from {day(duty.counts_from)}, latest {day(duty.latest_on)}",
        standing=stands,
    )


def to_calibrate(paper: Certificate, now: datetime, actor: Actor) -> Thing:
    stands = calibrations.standing_of(paper, now)
    return Thing(
        kind=stands.name,
        what="Calibration",
        site="",
        where=str(paper.instrument),
        how_long=stands.words,
        who=actor.organisation_name,
        page="instrument",
        key=paper.instrument.key,
        detail=f"certificate {paper}, next due on {day(paper.due_on)}",
        standing=stands,
    )


def never_calibrated(row: Instrument, actor: Actor) -> Thing:
    return Thing(
        kind="due",
        what="Calibration",
        site="",
        where=str(row),
        how_long="not on record",
        who=actor.organisation_name,
        page="instrument",
        key=row.key,
        detail="no certificate: every result read with it says so",
    )


def sent_back(test: ProportioningTest, told: tuple[str, str]) -> Thing:
    on, reason = told
    return Thing(
        kind="sent_back",
        what="Result sent back, not handed in again",
        site=test.site.name,
        where=f"{test.proportioner.system.name}, {test.proportioner.tag}",
        how_long=f"since {on}",
        who=test.visit.contractor.name,
        page="visit",
        key=test.visit.key,
        detail=reason,
    )


def not_signed(row: Unsigned) -> Thing:
    return Thing(
        kind="unsigned",
        what=row.what,
        site=row.place.site,
        where=row.place.where,
        how_long=row.words,
        who=row.place.who,
        page=row.place.page,
        key=row.place.key,
        detail=f"handed in on {day(row.since)}",
    )
