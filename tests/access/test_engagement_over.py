"""A contractor whose engagement is over reads what it made and finishes the day that it began.

Who may do what after an engagement: common practice, no published source. A crew that had a system
out owes its owner the result, and nobody else can put it in; nothing new begins without the owner.
"""

import io
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from itm.actions.amend import amend
from itm.actions.hand_in import hand_in
from itm.actions.note_deficiency import add_pictures
from itm.actions.prepare_test import prepare_test
from itm.actions.send_back import send_back
from itm.actions.start_test_day import start_test_day
from itm.actions.withdraw_past import withdraw_past
from itm.core.errors import Forbidden
from itm.doors import entries
from itm.findings.deciding import add_note, note_by_hand, note_repair, tell
from itm.findings.models import Impairment
from itm.records import checking, preparing, services, states
from itm.records.models import ProportioningTest
from itm.registry.attaching import Upload
from tests import deeds
from tests.checks import checked
from tests.factories import (
    TODAY,
    GrantFactory,
    OrganisationFactory,
    PastBundleFactory,
    PastResultFactory,
    actor_of,
)
from tests.itm.registry.pictures import picture

DAYS = timedelta(days=1)
NOON = datetime.combine(TODAY, time(12), UTC)


def over(scene, on: date) -> None:
    """That day was the last."""
    grant = scene.site.grants.get()
    grant.ends_on = on
    grant.save(by=scene.owner)


def later(scene, days: int):
    return replace(scene.contractor, today=TODAY + days * DAYS, at=NOON + days * DAYS)


@pytest.fixture
def planned(scene):
    """A visit with a prepared test, not started; the engagement ended on the day before."""
    day = NOON - timedelta(hours=4)
    visit = services.plan_visit(actor=scene.contractor, site=scene.site, planned_on=TODAY)
    bench = preparing.open_bench(
        actor=scene.contractor, visit=visit, tank=scene.tank, instrument=scene.instrument
    )
    preparing.prepare_test(
        actor=scene.contractor, visit=visit, proportioner=scene.proportioner, bench=bench, at=day,
        purpose="periodic",
    )  # fmt: skip
    over(scene, TODAY - DAYS)
    return visit


def start(actor, visit, at: datetime):
    return start_test_day(
        actor=actor, key=visit.key, reason="a test", coordinator="the owner", at=at
    )


def test_a_day_that_was_only_planned_does_not_begin_after_it(scene, planned):
    for days in (0, 3, 30):
        with pytest.raises(Forbidden, match="is not engaged at"):
            start(later(scene, days), planned, NOON + days * DAYS)
    assert not Impairment.objects.exists()
    with pytest.raises(Forbidden, match="can engage it again"):
        prepare_test(
            actor=scene.contractor, visit=planned, proportioner=scene.proportioner,
            bench=planned.benches.get(), at=NOON, purpose="periodic", phase="as_left",
            adjusted="a valve",
        )  # fmt: skip
    with pytest.raises(Forbidden):
        services.change_visit(actor=later(scene, 9), visit=planned, weather="rain")


def test_a_draft_of_a_day_that_never_began_is_only_given_up(scene, planned):
    test, actor = planned.tests.get(), later(scene, 9)
    for verb in ("change", "hand_in", "sign", "send_back", "amend"):
        assert not states.may(actor, verb, test), verb
        with pytest.raises(Forbidden, match="not engaged"):
            states.require(actor, verb, test)
    assert states.possible(actor, "abandon", test)


def test_a_day_of_the_engagement_cannot_be_claimed_long_after_it(scene, planned):
    within = NOON - DAYS
    with pytest.raises(Forbidden):
        start(later(scene, 3), planned, within)
    start(later(scene, 2), planned, within)
    assert Impairment.objects.get().started_at == within


def test_a_device_without_signal_on_the_last_day_brings_its_start_late(scene, planned):
    over(scene, TODAY)
    run = planned.tests.get().runs.first()
    said = [
        {"key": str(uuid4()), "verb": "start_test_day", "of": {"visit": str(planned.key)},
         "at": NOON.isoformat(), "put": {"reason": "a test", "coordinator": "the owner"}},
        {"key": str(uuid4()), "verb": "foam_seen", "of": {"run": str(run.key)},
         "at": (NOON + timedelta(minutes=9)).isoformat(), "put": {}},
    ]  # fmt: skip
    at = NOON + DAYS
    got = entries.take(
        actor=replace(later(scene, 1), via="field"), entries=said, device_now=at.isoformat(), at=at
    )
    assert [one.state for one in got] == ["taken", "taken"], got
    planned.refresh_from_db()
    assert planned.started_at == NOON


def test_a_day_begun_while_engaged_is_finished_sent_back_and_handed_in_again(scene):
    day = deeds.prepared(scene, on=TODAY)
    over(scene, TODAY)
    day.actor = replace(later(scene, 20), proved=True)
    deeds.read(deeds.restored(deeds.discharged(day)), {"minimum": 3.2, "design": 3.4})
    key = day.test.key
    hand_in(actor=day.actor, key=key, at=day.tick(minutes=5))
    send_back(actor=scene.owner, key=key, reason="which water?", at=day.tick(minutes=5))
    preparing.change_test(actor=day.actor, test=day.test, notes="Hydrant 4.")
    hand_in(actor=day.actor, key=key, at=day.tick(minutes=5))
    assert deeds.signed(day).state == ProportioningTest.State.SEALED


def test_one_more_test_of_that_day_is_new_work(scene):
    day = deeds.prepared(scene, on=TODAY)
    over(scene, TODAY)
    with pytest.raises(Forbidden):
        prepare_test(
            actor=later(scene, 1), visit=day.test.visit, proportioner=scene.proportioner,
            bench=day.test.bench, at=NOON + DAYS, purpose="periodic", phase="as_left",
            adjusted="a valve",
        )  # fmt: skip


def test_a_correction_begins_only_while_engaged_and_may_be_finished_after(scene):
    sealed = deeds.tested(scene, on=TODAY)
    over(scene, TODAY)
    with pytest.raises(Forbidden, match="engage it again"):
        amend(actor=later(scene, 1), key=sealed.key, reason="a slip", at=NOON + DAYS)
    assert not ProportioningTest.objects.filter(amends=sealed).exists()
    scene_again = GrantFactory(
        site=scene.site, organisation=scene.contractor.organisation,
        starts_on=TODAY + 5 * DAYS, ends_on=TODAY + 5 * DAYS,
    )  # fmt: skip
    assert scene_again.ends_on == TODAY + 5 * DAYS
    draft = amend(actor=later(scene, 5), key=sealed.key, reason="a slip", at=NOON + 5 * DAYS)
    after = later(scene, 30)
    assert states.possible(after, "hand_in", draft)
    hand_in(actor=after, key=draft.key, at=NOON + 30 * DAYS)


def test_a_check_waits_for_its_laboratory_and_stays_on_its_day(scene):
    draft = checked(scene, until="draft", on=TODAY)
    over(scene, TODAY)
    after = later(scene, 20)
    assert states.possible(after, "hand_in", draft)
    checking.change_check(actor=after, check=draft, at=NOON + 20 * DAYS, notes="A word.")
    empty = checking.begin_check(
        actor=scene.contractor, tank=scene.tank, checked_on=TODAY, purpose="periodic", at=NOON
    )
    with pytest.raises(Forbidden, match="not engaged"):
        checking.change_check(
            actor=after, check=empty, at=NOON + 20 * DAYS, checked_on=TODAY + 10 * DAYS
        )
    with pytest.raises(Forbidden):
        checking.begin_check(
            actor=after, tank=scene.tank, checked_on=TODAY, purpose="periodic", at=NOON
        )


def test_past_results_that_it_brought_in_are_not_its_own_to_take_back_any_more(scene):
    bundle = PastBundleFactory(organisation=scene.contractor.organisation)
    row = PastResultFactory(proportioner=scene.proportioner, bundle=bundle)
    over(scene, TODAY)
    with pytest.raises(Forbidden):
        withdraw_past(actor=later(scene, 1), line=row, reason="x", at=NOON + DAYS)
    withdraw_past(actor=scene.owner, line=row, reason="a slip", at=NOON + DAYS)


def test_what_it_found_it_reads_and_says_only_whom_it_told(scene, sign_in):
    """Whoever is not there any more neither repairs nor looks; whom it told only its crew knows."""
    found = note_by_hand(
        actor=scene.contractor, site=scene.site, thing=scene.system, severity=1, words="A leak",
        found_on=TODAY, at=NOON,
    )  # fmt: skip
    over(scene, TODAY)
    after, at = later(scene, 1), NOON + DAYS

    def photo():
        return Upload(io.BytesIO(picture()), "leak.png")

    refused = {
        "note": lambda by: add_note(actor=by, deficiency=found, words="x", at=at),
        "repair": lambda by: note_repair(
            actor=by, deficiency=found, part="x", who="x", repaired_at=NOON, at=at
        ),
        "picture": lambda by: add_pictures(
            actor=by, deficiency=found, uploads=[photo()], caption="", at=at
        ),
    }
    for name, deed in refused.items():
        with pytest.raises(Forbidden, match="engaged here"):
            deed(after)
        assert deed(scene.owner), name
    assert tell(actor=after, deficiency=found, who="The porter", told_at=NOON, at=at).who
    stranger = actor_of(OrganisationFactory(kind="contractor"))
    with pytest.raises(Forbidden, match="who was told"):
        tell(actor=stranger, deficiency=found, who="x", told_at=NOON, at=at)
    page = sign_in(Client(), scene.contractor)
    shown = page.get(reverse("deficiency", args=[found.key])).content.decode()
    assert "A leak" in shown
    assert reverse("deficiency_tell", args=[found.key]) in shown
    for name in ("deficiency_note", "deficiency_repair", "deficiency_picture"):
        assert reverse(name, args=[found.key]) not in shown, name
        assert page.get(reverse(name, args=[found.key])).status_code == 403, name


def test_pages_after_it_read_and_do_not_offer_what_would_be_refused(scene, sign_in):
    own = deeds.tested(scene)
    over(scene, timezone.now().date() - DAYS)
    page = sign_in(Client(), scene.contractor)
    for name in ("test", "report"):
        assert page.get(reverse(name, args=[own.key])).status_code == 200, name
    assert page.get(reverse("report_pdf", args=[own.key])).status_code in (200, 202)
    shown = page.get(reverse("visit", args=[own.visit.key])).content.decode()
    assert reverse("test_new", args=[own.visit.key]) not in shown
    assert reverse("inspect", args=[scene.site.key]) not in shown
    assert own.site.name in page.get(reverse("records")).content.decode()
    assert reverse("amend", args=[own.key]) not in page.get(
        reverse("test", args=[own.key])
    ).content.decode()  # fmt: skip
    for name, key in (("site", scene.site.key), ("system", scene.system.key),
                      ("tank", scene.tank.key)):  # fmt: skip
        assert page.get(reverse(name, args=[key])).status_code == 404, name
    got = page.post(reverse("amend", args=[own.key]), {"reason": "x"})
    assert got.status_code == 403
    assert "engage it again" in got.content.decode()


def test_the_one_who_follows_does_not_sign_it_and_a_stranger_sees_nothing(scene, sign_in):
    own = deeds.tested(scene, until="handed_in")
    follows = actor_of(OrganisationFactory(kind="contractor"))
    GrantFactory(site=scene.site, organisation=follows.organisation)
    assert sign_in(Client(), follows).get(reverse("sign", args=[own.key])).status_code == 404
    stranger = actor_of(OrganisationFactory(kind="contractor"))
    assert sign_in(Client(), stranger).get(reverse("test", args=[own.key])).status_code == 404
