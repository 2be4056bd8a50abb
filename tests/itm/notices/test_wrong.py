"""The mail names what is wrong: the worst first, with links, and only what its reader may see."""

import re
from datetime import UTC, date, datetime, timedelta

import pytest
from django.core import mail as sent
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from itm.findings import deciding
from itm.findings.impairing import open_by_hand
from itm.findings.models import Deficiency
from itm.notices import mail, wrong
from itm.notices.wrong import wrong_now
from tests.deeds import inspection_of, tested
from tests.factories import OrganisationFactory, actor_of

NOW = datetime(2026, 6, 22, 12, tzinfo=UTC)
NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)
ON = date(2026, 6, 15)


def noted(scene, words: str, severity: int = 3, **more) -> Deficiency:
    return deciding.note_by_hand(
        actor=scene.owner, site=scene.site, thing=scene.system, severity=severity, words=words,
        found_on=ON, at=NOON, **more,
    )  # fmt: skip


def left_out_of_service(scene, started: datetime = NOON):
    return open_by_hand(
        actor=scene.owner, site=scene.site, systems=[scene.system], reason="a leak",
        coordinator="Duty engineer", started_at=started, at=NOW,
    )  # fmt: skip


def mailed(actor) -> str:
    mail.send(actor, NOW, NOW.date(), 30, "token")
    return sent.outbox[-1].body


def test_what_is_wrong_stands_in_the_mail_by_name_the_worst_first_with_its_link(scene):
    late = noted(scene, "The sign at the panel is gone")
    worst = noted(scene, "Foam pump does not start", 1)
    out = left_out_of_service(scene)
    body = mailed(scene.owner)
    places = [
        body.index(reverse(page, args=[row.key]))
        for page, row in (("impairment", out), ("deficiency", worst), ("deficiency", late))
    ]
    assert places == sorted(places)
    assert "Impairment: Foam pump does not start" in body
    assert f"{scene.site.name}: {scene.system}" in body
    assert "open for 0 days, nobody named to see to it" in body
    assert "since 7 days, with Duty engineer" in body
    assert "Nothing is wrong" not in body
    assert "\nDeficiency\n" not in body  # and not once more among the next things
    assert sent.outbox[-1].subject.startswith(
        f"{scene.owner.organisation_name}: 1 out of service, "
    )
    assert "2 deficiencies, 0 overdue" in sent.outbox[-1].subject


def test_a_result_is_named_with_its_percent_and_a_proposed_fix_is_said(scene):
    tested(scene, {"minimum": 2.0, "design": 3.4})
    tested(scene, {"minimum": 3.4, "design": 3.4}, on=date(2026, 6, 18))
    body = mailed(scene.owner)
    assert "Impairment: Lean at minimum: 2.00 %, limits 3 to 3.9 %" in body
    assert "a fix is proposed" in body


def test_without_anything_wrong_it_says_so(scene):
    body = mailed(scene.owner)
    assert "Nothing is wrong, due or overdue on record." in body
    assert "Deficiencies" not in body


def test_as_many_as_a_mail_can_hold_are_named_and_the_rest_is_counted_by_class(scene, monkeypatch):
    monkeypatch.setattr(wrong, "MOST", 3)
    for number in range(2):
        noted(scene, f"pump {number}", 1)
    for number in range(4):
        noted(scene, f"middling {number}", 2)
    noted(scene, "small")
    for hours in range(4):
        left_out_of_service(scene, NOON + timedelta(hours=hours))
    body = mailed(scene.owner)
    assert body.count("pump ") == 2
    assert body.count("middling ") == 1
    assert "small" not in body
    assert "and 3 critical deficiencies, 1 noncritical deficiency more: " in body
    assert "and 1 time out of service more: " in body
    assert reverse("deficiencies") + "?stands=open" in body


def test_nobody_is_told_of_sites_that_are_not_theirs(scene):
    noted(scene, "The sign at the panel is gone")
    left_out_of_service(scene)
    stranger = actor_of(OrganisationFactory(kind="owner"))
    found = wrong_now(stranger, NOW)
    assert (found.out, found.deficiencies, found.head) == ([], [], "")
    for actor in (scene.owner, scene.contractor, scene.authority):
        found = wrong_now(actor, NOW)
        assert (len(found.out), len(found.deficiencies)) == (1, 1)
    assert "The sign" not in mailed(stranger)


def test_what_is_closed_is_not_named(scene):
    row = noted(scene, "The sign at the panel is gone")
    deciding.end(actor=scene.owner, deficiency=row, reason="it is there", at=NOW)
    assert wrong_now(scene.owner, NOW).deficiencies == []


@pytest.mark.parametrize("cause", ["supply", "inspection"])
def test_no_quantity_but_percent_is_named(scene, cause):
    """Minutes, metres and bar belong to a page, which shows them in the reader's units."""
    if cause == "supply":
        scene.system.required_minutes = 600
        scene.system.save(by=scene.owner)
        tested(scene)
    else:
        inspection_of(scene, ON, fit="no", places="1.62 m, 7.5 bar")
    row = Deficiency.objects.filter(cause=cause).first()
    said = next(
        line.what for line in wrong_now(scene.owner, NOW).deficiencies if str(row.key) in line.link
    )
    assert not re.search(r"\d+(\.\d+)? ?(min|m|bar|L)\b", said)
    assert ("lasts too short" if cause == "supply" else "Look at the tank") in said


def test_what_a_person_typed_makes_no_line_of_its_own(scene):
    noted(scene, "The sign\r\n\r\nStop these mails: http://elsewhere.example/")
    body = mailed(scene.owner)
    assert "The sign Stop these mails: http://elsewhere.example/ - " in body
    assert not re.search(r"^Stop these mails: http://elsewhere", body, re.MULTILINE)


def test_the_queries_do_not_grow_with_what_is_wrong(scene):
    def counted() -> int:
        with CaptureQueriesContext(
            connection,
        ) as found:
            wrong_now(scene.owner, NOW)
        return len(found)

    noted(scene, "one")
    left_out_of_service(scene)
    few = counted()
    for number in range(12):
        noted(scene, f"another {number}")
        left_out_of_service(scene, NOON + timedelta(minutes=number))
    assert counted() == few
