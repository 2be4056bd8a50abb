"""What is found in the class of an impairment, comes into it or is left out of service is mailed at
once. A rule of our own: no published source."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core import mail
from django.urls import reverse

from itm.actions import restore
from itm.actions.note_deficiency import note_deficiency
from itm.findings import deciding
from itm.findings.models import Deficiency
from itm.notices import gathering
from itm.notices.at_once import readers
from tests.deeds import discharged, inspection_of, prepared, restored, tested
from tests.itm.findings.test_again import fault, lean, lowered
from tests.itm.notices.test_at_once import addresses, mailed, now

__all__ = ["now"]
AT = datetime(2026, 8, 1, 9, tzinfo=UTC)
MAY, JULY = date(2026, 5, 4), date(2026, 7, 6)


def noted(scene, severity: int) -> Deficiency:
    return note_deficiency(
        actor=scene.owner, site=scene.site, thing=scene.tank, severity=severity, at=AT,
        words="bladder torn, no foam.", found_on=MAY, uploads=[],
    )  # fmt: skip


def subjects() -> set[str]:
    return {message.subject for message in mail.outbox}


def test_a_lean_result_is_one_mail_to_each_for_all_that_it_shows(scene, now):
    tested(scene, {"minimum": 2.0, "design": 2.1}, until="handed_in")
    assert mailed(now) == addresses(scene.owner, scene.authority)  # not to the crew that did it
    assert subjects() == {f"Impairment found: {scene.site.name}"}
    assert len(mail.outbox) == 2
    body = mail.outbox[0].body
    for row in Deficiency.objects.filter(cause="lean"):
        assert row.words in body
        assert reverse("deficiency", args=[row.key]) in body
    assert "may not protect as designed" in body


def test_a_torn_bladder_and_a_tank_that_is_not_fit_are_mailed(scene, now):
    noted(scene, 1)
    assert mailed(now) == addresses(scene.authority, scene.contractor)
    assert f"tank {scene.tank}: bladder torn, no foam.\n" in mail.outbox[0].body
    inspection_of(scene, JULY, fit="no")
    mailed(now)
    assert f"Impairment found: {scene.site.name}" in subjects()


def test_what_is_no_impairment_or_was_closed_waits_for_the_weekly_mail(scene, now):
    noted(scene, 2)
    row = noted(scene, 1)
    deciding.end(actor=scene.owner, deficiency=row, reason="another tank", at=AT)
    assert mailed(now) == set()


def test_a_class_raised_to_an_impairment_is_mailed_from_which_and_why(scene, now):
    row = noted(scene, 2)
    mailed(now)
    deciding.classify(actor=scene.owner, deficiency=row, severity=1, reason="no foam", at=AT)
    assert mailed(now) == addresses(scene.authority, scene.contractor)
    assert "Class: Critical deficiency → Impairment: no foam.\n" in mail.outbox[0].body
    deciding.classify(actor=scene.owner, deficiency=row, severity=3, reason="spare tank", at=AT)
    mailed(now + timedelta(minutes=1))
    assert subjects() == set()


def test_what_is_found_again_and_worse_is_mailed_with_the_old_and_the_new(scene, now):
    fault(scene, "inspection", "valve stiff", MAY)
    assert mailed(now) == set()
    fault(scene, "valve", "valve shut", JULY)
    assert mailed(now) == addresses(scene.owner, scene.authority)
    assert subjects() == {f"Found again and worse, an impairment: {scene.site.name}"}
    body = mail.outbox[0].body
    assert "Class: Critical deficiency → Impairment: found again, and worse.\n" in body
    assert "again on 6 Jul 2026" in body


def test_what_is_found_again_after_its_class_was_lowered_is_mailed(scene, now):
    lowered(scene, lean(scene, 2.93, MAY))
    assert mailed(now) == set()
    lean(scene, 1.1, JULY)
    assert mailed(now) == addresses(scene.owner, scene.authority)
    assert f"Found again after its class was lowered: {scene.site.name}" in subjects()
    assert "It stands as noncritical deficiency, because its class was lowered" in (
        mail.outbox[0].body
    )
    lean(scene, 1.2, JULY + timedelta(days=2))
    deciding.classify(
        actor=scene.owner, deficiency=Deficiency.objects.get(cause="lean"), severity=2,
        reason="the hazard bears less", at=AT,
    )  # fmt: skip
    assert mailed(now + timedelta(minutes=1)) == set()  # somebody has looked


def test_what_still_is_so_is_mailed_where_the_first_of_the_deed_no_longer_is(scene, now):
    tested(scene, {"minimum": 2.0, "design": 2.1}, until="handed_in")
    first, second = Deficiency.objects.filter(cause="lean").order_by("pk")
    gathering.gather(now + timedelta(minutes=1))
    deciding.classify(actor=scene.owner, deficiency=first, severity=2, reason="spare", at=AT)
    assert mailed(now + timedelta(minutes=1)) == addresses(scene.owner, scene.authority)
    [body, _] = [message.body for message in mail.outbox]
    assert second.words in body
    assert first.words not in body
    deciding.classify(actor=scene.owner, deficiency=second, severity=2, reason="spare", at=AT)
    assert mailed(now + timedelta(minutes=2)) == set()


def test_a_retest_that_shows_all_of_it_again_is_one_mail_with_its_own_subject(scene, now):
    lean_twice = {"minimum": 2.0, "design": 2.1}
    tested(scene, lean_twice, on=MAY)
    mailed(now)
    tested(scene, {"minimum": 1.9, "design": 2.0}, on=JULY)
    assert mailed(now + timedelta(minutes=1)) == addresses(scene.owner, scene.authority)
    again = [one for one in mail.outbox if "again" in one.subject]
    assert {one.subject for one in again} == {f"Impairment found again: {scene.site.name}"}
    assert len(again) == 2  # one to the owner, one to the authority
    for row in Deficiency.objects.filter(cause="lean"):
        assert row.again_words in again[0].body
        assert reverse("deficiency", args=[row.key]) in again[0].body
    assert "class was lowered" not in again[0].body


def test_of_two_retests_each_is_a_mail(scene, now):
    for day, percent in ((MAY, 2.0), (JULY, 1.9), (JULY + timedelta(days=2), 1.8)):
        lean(scene, percent, day)
    mailed(now)
    assert sum("again" in one.subject for one in mail.outbox) == 4


def test_a_line_left_out_after_the_test_is_mailed_until_it_is_back(scene, now):
    day = discharged(prepared(scene))
    mailed(now)
    line = day.test.visit.restoration_lines.order_by("position").first()
    left = restore.end_line(
        actor=day.actor, line=line, outcome="left_out", at=day.tick(), reason="worn seat",
        handed_to="Duty engineer", handed_at=day.now,
    )  # fmt: skip
    restored(day)
    assert addresses(scene.owner, scene.authority) == mailed(now)
    body = next(m.body for m in mail.outbox if m.subject.startswith("Left out of service"))
    assert f"Left so after the test: {line.text} (worn seat).\n" in body
    restore.put_back(actor=day.actor, line=left, at=day.tick())
    assert not any("Left" in one for one in mailed(now) and subjects())


@pytest.mark.parametrize(
    ("zone", "day"),
    [("Pacific/Auckland", date(2026, 6, 16)), ("Pacific/Honolulu", date(2026, 6, 15))],
)
def test_who_reads_is_asked_for_on_the_day_of_the_site(scene, zone, day):
    """At 12:30 UTC it is half past midnight of the next day in Auckland and 2:30 in Honolulu."""
    scene.site.time_zone = zone
    scene.site.save(by=scene.owner)
    grant = scene.site.grants.get(organisation=scene.contractor.organisation)
    grant.starts_on = day
    grant.save(by=scene.owner)
    at = datetime(2026, 6, 15, 12, 30, tzinfo=UTC)

    def reads() -> bool:
        return readers(scene.site, at).filter(organisation=scene.contractor.organisation).exists()

    assert reads()
    grant.starts_on = day + timedelta(days=1)
    grant.save(by=scene.owner)
    assert not reads()
