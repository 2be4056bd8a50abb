"""A calibration that comes due is a thing to do of who keeps the instrument, and of nobody else.

That the due day itself still counts, and sixty and thirty days, are our own choices: no source.
"""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core import mail as sent
from django.db import connection
from django.test.utils import CaptureQueriesContext

from itm.notices import mail
from itm.notices.calendar import feed
from itm.registry.certificates import in_force
from itm.registry.models import Certificate, Instrument
from itm.schedule import calibrations
from itm.trends.next_things import next_things, standings
from itm.trends.weeks import weeks
from itm.trends.work import calibrations_due, never_calibrated
from tests.conftest import Scene
from tests.factories import (
    CertificateFactory,
    InstrumentFactory,
    OrganisationFactory,
    actor_of,
)
from tests.itm.notices.test_calendar import events

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)
DAY = date(2026, 6, 15)


@pytest.fixture
def instrument(scene: Scene) -> Instrument:
    """The scene's own, whose only certificate gives no day."""
    paper = scene.instrument.certificates.get()
    paper.number, paper.due_on = "older papers", None
    paper.save(by=scene.contractor)
    return scene.instrument


def due(instrument: Instrument, on: date, **values) -> Certificate:
    values = {"issued_on": on - timedelta(days=365), **values}
    return CertificateFactory(instrument=instrument, due_on=on, **values)


STANDINGS = [
    (-1, "overdue", "1 day late"),
    (0, "due", "today is the last day"),
    (30, "due", "30 days left"),
    (31, "open", "due in 1 day"),
    (60, "open", "due in 30 days"),
    (61, None, ""),
]


@pytest.mark.parametrize(("days", "kind", "words"), STANDINGS)
def test_calibration_stands_by_the_day_of_its_certificate(scene, instrument, days, kind, words):
    paper = due(instrument, DAY + timedelta(days=days))
    found = next_things(scene.contractor, NOW).object_list
    told = [(t.kind, t.how_long, t.where, t.page, t.key) for t in found]
    expected = [(kind, words, str(instrument), "instrument", instrument.key)] if kind else []
    assert told == expected
    assert [row.pk for row in calibrations_due(scene.contractor, NOW).rows] == (
        [paper.pk] if kind else []
    )
    for name in ("overdue", "due", "open"):  # the narrowed list asks the database, not the dates
        narrowed = next_things(scene.contractor, NOW, kind=name).object_list
        assert len(narrowed) == (name == kind)
        counts = {n: count for n, _, count in standings(scene.contractor, NOW)}
        assert counts[name] == str(int(name == kind))


def test_nobody_else_is_told_of_it(scene, instrument):
    due(instrument, DAY - timedelta(days=1))
    InstrumentFactory(organisation=instrument.organisation, certified=False)
    other = actor_of(OrganisationFactory(kind="contractor"))
    for actor in (scene.owner, scene.authority, other):
        assert next_things(actor, NOW).object_list == []
        assert [line for week in weeks(actor, NOW) for line in week.lines] == []
        assert events(actor) == {}
        assert calibrations_due(actor, NOW).rows == []
        assert never_calibrated(actor, NOW).rows == []


def test_it_is_late_only_when_its_last_day_is_over_everywhere(scene, instrument):
    """UTC-12 is the last zone to leave a day: IANA, Etc/GMT+12."""
    due(instrument, DAY)
    for hour, kind in ((11, "due"), (12, "overdue")):
        then = datetime(2026, 6, 16, hour, tzinfo=UTC)
        assert [t.kind for t in next_things(scene.contractor, then).object_list] == [kind]


def test_a_new_certificate_ends_it_and_its_withdrawal_brings_it_back(scene, instrument):
    late = due(instrument, DAY - timedelta(days=3))
    new = due(instrument, DAY + timedelta(days=300), issued_on=DAY)
    assert next_things(scene.contractor, NOW).object_list == []
    new.withdrawn_because = "of another meter"
    new.save(by=scene.contractor)
    [thing] = next_things(scene.contractor, NOW).object_list
    assert thing.detail == f"certificate {late}, next due on 12 Jun 2026"


def test_retired_instrument_and_certificate_without_a_day_ask_for_nothing(scene, instrument):
    assert next_things(scene.contractor, NOW).object_list == []
    due(instrument, DAY)
    instrument.retired_on = DAY
    instrument.save(by=scene.contractor)
    assert next_things(scene.contractor, NOW).object_list == []


def test_instrument_without_any_certificate_is_due(scene, instrument):
    """Until it has one; a paper that was withdrawn is none."""
    bare = InstrumentFactory(organisation=instrument.organisation, certified=False)

    def told(kind: str = "") -> list[tuple[str, str, str]]:
        found = next_things(scene.contractor, NOW, kind=kind).object_list
        return [(thing.kind, thing.where, thing.how_long) for thing in found]

    expected = [("due", str(bare), "not on record")]
    assert told() == told("due") == expected
    assert told("overdue") == told("open") == []
    assert {name: count for name, _, count in standings(scene.contractor, NOW)}["due"] == "1"
    assert [row.pk for row in never_calibrated(scene.contractor, NOW).rows] == [bare.pk]
    mail.send(scene.contractor, NOW, DAY, 30, "token")
    assert sent.outbox[-1].subject.startswith(
        f"{scene.contractor.organisation_name}: 0 overdue, 1 due"
    )
    assert f"  - Calibration - {bare}\n    not on record" in sent.outbox[-1].body
    late = due(bare, DAY - timedelta(days=3))  # told once, by its day
    assert told() == [("overdue", str(bare), "3 days late")]
    late.withdrawn_because = "of another meter"
    late.save(by=scene.contractor)
    assert told() == expected
    due(bare, DAY + timedelta(days=300), issued_on=DAY + timedelta(days=1))  # not in force yet
    assert told() == expected
    bare.retired_on = DAY
    bare.save(by=scene.contractor)
    assert told() == []


def test_list_of_one_site_leaves_out_what_stands_at_none(scene, instrument):
    due(instrument, DAY)
    assert next_things(scene.contractor, NOW, site=scene.site.name).object_list == []


def test_query_finds_the_certificate_that_the_rule_finds(scene, instrument):
    """In one statement over all instruments, and by `certificates.in_force` one by one."""
    days = [None, date(2025, 1, 1), date(2025, 6, 1), date(2026, 6, 15), date(2026, 6, 16)]
    for first in days:
        for second in days:
            made = InstrumentFactory(organisation=instrument.organisation, certified=False)
            for issued in (first, second):
                CertificateFactory(instrument=made, issued_on=issued, due_on=date(2027, 1, 1))
    found = set(calibrations.calibrations(scene.contractor, NOW).values_list("pk", flat=True))
    rule = {
        paper.pk
        for one in Instrument.objects.visible_to(scene.contractor)
        if (paper := in_force(one.certificates.all(), DAY)) is not None and paper.due_on
    }
    assert found == rule
    assert len(found) > 20


def test_weeks_hold_it_on_its_day(scene, instrument):
    due(instrument, date(2026, 7, 1))
    lines = [line for week in weeks(scene.contractor, NOW) for line in week.lines]
    assert [(line.on, line.what, line.where, line.page) for line in lines] == [
        (date(2026, 7, 1), "Calibration", str(instrument), "instrument")
    ]
    assert [line for week in weeks(scene.contractor, NOW, site="x") for line in week.lines] == []


def test_mail_names_what_is_late_and_what_comes(scene, instrument):
    due(instrument, date(2026, 6, 1))
    other = InstrumentFactory(organisation=instrument.organisation, certified=False)
    due(other, date(2026, 7, 20))
    mail.send(scene.contractor, NOW, DAY, 40, "token")
    text = sent.outbox[-1].body
    assert sent.outbox[-1].subject.startswith(f"{scene.contractor.organisation_name}: 1 overdue")
    assert f"  - Calibration - {instrument}\n    14 days late" in text
    assert f"20 Jul 2026  Calibration - {other}" in text
    mail.send(scene.contractor, NOW, DAY, 30, "token")
    assert "20 Jul 2026" not in sent.outbox[-1].body


def test_calendar_keeps_its_event_and_cancels_what_was_replaced(scene, instrument):
    """RFC 5545: UID stays for life, SEQUENCE (3.8.7.4) rises with each change of the event."""
    paper = due(instrument, date(2026, 7, 1))
    [event] = events(scene.contractor).values()
    assert event["dtstart"].dt == date(2026, 7, 1)
    assert event["status"] == "CONFIRMED"
    assert event["summary"] == f"Calibration - {instrument}"
    assert event["uid"].startswith(f"{paper.key}@")
    due(instrument, date(2027, 7, 1), issued_on=DAY)
    after = events(scene.contractor)
    assert len(after) == 2
    ended = after[str(event["uid"])]
    assert ended["status"] == "CANCELLED"
    assert ended["sequence"] > event["sequence"]
    assert b"BEGIN:VEVENT" in feed(scene.contractor, NOW + timedelta(days=100))
    later = events(scene.contractor, NOW + timedelta(days=100))  # 60 days after it would have been
    assert str(event["uid"]) not in later


def test_cost_does_not_grow_with_the_instruments(scene, instrument):
    def asked() -> int:
        with CaptureQueriesContext(connection) as caught:
            next_things(scene.contractor, NOW)
            standings(scene.contractor, NOW)
            calibrations_due(scene.contractor, NOW)
            never_calibrated(scene.contractor, NOW)
            feed(scene.contractor, NOW)
        return len(caught)

    due(instrument, DAY)
    InstrumentFactory(organisation=instrument.organisation, certified=False)
    few = asked()
    for number in range(30):
        InstrumentFactory(organisation=instrument.organisation, certified=False)
        made = InstrumentFactory(organisation=instrument.organisation, certified=False)
        due(made, DAY + timedelta(days=number))
    assert asked() == few


@pytest.mark.skipif(connection.vendor != "sqlite", reason="reads the plan that SQLite writes")
def test_no_table_is_scanned_for_it(scene, instrument):
    for rows in (
        calibrations.to_do(scene.contractor, NOW),
        calibrations.ahead(scene.contractor, NOW, DAY),
        calibrations.not_on_record(scene.contractor, NOW),
        *calibrations.by_standing(scene.contractor, NOW).values(),
    ):
        plan = rows.explain()
        assert "SEARCH" in plan
        assert "SCAN" not in plan, plan


def test_home_list_and_page_show_it(client, sign_in, scene, instrument, time_machine):
    time_machine.move_to(NOW)
    due(instrument, date(2026, 6, 14))
    bare = InstrumentFactory(organisation=instrument.organisation, certified=False)
    page = sign_in(client, scene.contractor)
    text = page.get("/").content.decode()
    assert "Calibration of instruments" in text
    assert "1 day late" in text
    assert "next due on 14 Jun 2026" in text
    assert "no certificate" in text
    assert f"/instruments/{bare.key}/" in text
    assert f"/instruments/{instrument.key}/" in page.get("/due/?kind=overdue").content.decode()
    assert f"/instruments/{bare.key}/" in page.get("/due/?kind=due").content.decode()
    assert "1 day late" in page.get(f"/instruments/{instrument.key}/").content.decode()
    assert (
        "Calibration of instruments" not in sign_in(client, scene.owner).get("/").content.decode()
    )
