"""When a notice clock runs out: arithmetic of hours, against worked examples and the sources that
the rows name."""

from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail
from django.utils import timezone

from itm.core import outbox
from itm.core.clock import date_at
from itm.core.errors import Forbidden, Refused
from itm.findings import alarms, clocks, impairing
from itm.findings.lives import say
from itm.findings.models import Impairment, NoticeClock, Step
from itm.findings.wording import clock_words
from itm.notices.alarm_mail import send_alarm, send_one_alarm
from tests.factories import MembershipFactory, OrganisationFactory, SiteFactory

AT = datetime(2026, 6, 15, 8, tzinfo=UTC)
# Hours, and the stretch in which they are summed, as the sources say: International Fire Code 901.7
# (read second-hand), 29 CFR 1910.160(b)(2) (looked up), NFPA 25 (from memory), UFC 3-601-02
# 1-11.3.1 (looked up).
PUBLISHED = {
    "fire-department-at-once": (0, None),
    "employees-at-once": (0, None),
    "ten-hours-in-a-day": (10, 24),
    "commanders-at-72-hours": (72, None),
}


def h(hours: float) -> datetime:
    return AT + timedelta(hours=hours)


@pytest.fixture
def ten() -> NoticeClock:
    return NoticeClock(code="ten", hours=10, within_hours=24)


@pytest.mark.django_db
def test_the_clocks_are_those_of_their_sources():
    rows = NoticeClock.objects.all()
    assert {row.code: (row.hours, row.within_hours) for row in rows} == PUBLISHED
    assert {row.code for row in rows if row.asks == "arranged"} == {"ten-hours-in-a-day"}
    assert all(row.source and row.confidence for row in rows)


def test_hours_without_a_stretch_count_from_the_beginning():
    clock = NoticeClock(hours=72)
    assert clocks.runs_out_at(clock, AT, [(h(-100), h(-1))]) == h(72)


# Worked by hand, in hours relative to the beginning of this impairment.
@pytest.mark.parametrize(
    ("earlier", "out"),
    [
        ([], 10),  # nothing before
        ([(-6, -2)], 6),  # 4 h of the last 24 are used: 6 more
        ([(-30, -25)], 10),  # longer than a day ago
        ([(-20, -12)], 2),  # 8 h are used
        ([(-40, -2)], 0),  # 22 h of the last 24: at once
        # 2 h within the day before now leave the stretch before 10 h are reached: from 1 h on one
        # leaves for each that comes, until 3 h; then 8 + … : 2 + 1, flat to 3, so 3 + 7.
        ([(-23, -21)], 10),
        ([(-6, -2), (-5, -1)], 5),  # two at once are out once: 5 h used
    ],
)
def test_ten_hours_in_any_day_count_every_time_out(ten, earlier, out):
    spans = [(h(a), h(b)) for a, b in earlier]
    assert clocks.runs_out_at(ten, AT, spans) == h(out)


def test_the_first_instant_agrees_with_counting_minute_by_minute(ten):
    spans = [(h(-22.5), h(-20)), (h(-9), h(-7.25)), (h(-3), h(-2.5))]
    found = clocks.runs_out_at(ten, AT, spans)
    step, held = timedelta(minutes=5), AT
    while True:
        since = held - timedelta(hours=24)
        used = sum(
            (max(min(b, held) - max(a, since), timedelta()) for a, b in [*spans, (AT, held)]),
            timedelta(),
        )
        if used >= timedelta(hours=10):
            break
        held += step
    assert abs(found - held) <= step


def opened(scene, at=AT, **more) -> Impairment:
    return impairing.open_by_hand(
        actor=scene.owner, site=scene.site, systems=[scene.system], reason="a leak",
        coordinator="Duty engineer", started_at=at, at=at, **more,
    )  # fmt: skip


def adopted(scene, code="commanders-at-72-hours", checked_against=""):
    clock = NoticeClock.objects.get(code=code)
    return clocks.adopt_clock(
        actor=scene.owner, clock=clock, sites=[scene.site], checked_against=checked_against, at=AT
    )


def mail_alarm(step: Step) -> None:
    """The promised job, and those of the readers that it promises."""
    send_alarm(str(step.key))
    for job in outbox.waiting().filter(kind="send_one_alarm"):
        send_one_alarm(**job.payload)


def test_a_clock_that_nobody_looked_up_asks_what_it_was_compared_with(scene):
    with pytest.raises(Refused, match="from memory"):
        adopted(scene, "ten-hours-in-a-day")
    assert adopted(scene, "ten-hours-in-a-day", "edition 2026, chapter on impairments")
    assert adopted(scene, "ten-hours-in-a-day", "the same") == []  # holds there already


def test_a_clock_is_adopted_by_the_owner_or_the_authority_of_the_site_alone(scene):
    clock = NoticeClock.objects.get(code="employees-at-once")
    ask = {"clock": clock, "checked_against": "", "at": AT}
    with pytest.raises(Forbidden):
        clocks.adopt_clock(actor=scene.contractor, sites=[scene.site], **ask)
    foreign = SiteFactory(owner=OrganisationFactory())
    with pytest.raises(Forbidden):
        clocks.adopt_clock(actor=scene.owner, sites=[foreign], **ask)
    assert clocks.adopt_clock(actor=scene.authority, sites=[scene.site], **ask)


def test_a_clock_holds_only_where_it_was_adopted(scene):
    row = opened(scene)
    assert clocks.running([row], h(100)) == {}
    adopted(scene)
    [one] = clocks.running([row], h(71))[row.pk]
    assert (one.at, one.over, one.sounds) == (h(72), False, False)
    [one] = clocks.running([row], h(73))[row.pk]
    assert one.sounds


@pytest.mark.parametrize("zone", ["Pacific/Auckland", "Pacific/Honolulu"])
def test_it_holds_by_the_calendar_of_the_site(scene, zone):
    """At 22:00 UTC it is the next day in Auckland already; at 02:00 still the one before in
    Honolulu. Both would miss a clock that was adopted there a moment ago, or one ended today."""
    scene.site.time_zone = zone
    scene.site.save(by=scene.owner)
    now = AT.replace(hour=22 if zone == "Pacific/Auckland" else 2)
    assert date_at(zone, now) != now.date()
    row = opened(scene)
    [held] = clocks.adopt_clock(
        actor=scene.owner, clock=NoticeClock.objects.get(code="commanders-at-72-hours"),
        sites=[scene.site], checked_against="", at=now,
    )  # fmt: skip
    assert list(clocks.running([row], now)) == [row.pk]
    clocks.end_clock(actor=scene.owner, adoption=held, at=now)
    assert list(clocks.running([row], now)) == [row.pk]  # today is its last day
    assert clocks.running([row], now + timedelta(days=1)) == {}


def test_who_was_told_answers_the_clock(scene):
    row, [held] = opened(scene), adopted(scene)
    impairing.tell(
        actor=scene.owner, impairment=row, who="The commander", told_at=h(70), at=h(70),
        clock=held.clock,
    )  # fmt: skip
    [one] = clocks.running([row], h(80))[row.pk]
    assert one.told.who == "The commander"
    assert not one.sounds


def test_no_call_answers_a_clock_that_asks_for_something_arranged(scene):
    row, [held] = opened(scene), adopted(scene, "ten-hours-in-a-day", "edition 2026")
    ask = {"actor": scene.owner, "impairment": row, "clock": held.clock, "at": h(1)}
    with pytest.raises(Refused, match="asks that something is arranged: note what") as refused:
        impairing.tell(who="The inspector", told_at=h(1), **ask)
    assert (refused.value.code, refused.value.place) == ("asks_other", "clock")
    # Written by a release that did not ask: it counts no more.
    say(scene.owner, row, Step.Verb.TOLD, h(1), who="x", happened_at=h(1), clock=held.clock)
    assert clocks.running([row], h(11))[row.pk][0].sounds
    alarms.sound(h(11))
    assert row.steps.get(verb="alarm").words == (
        "Owner and authority having jurisdiction, after 10 h in any 24: nothing is noted as "
        "arranged."
    )
    impairing.arrange(
        actor=scene.owner, impairment=row, what="Fire watch", who="A watchman", since=h(11),
        at=h(12), clock=held.clock,
    )  # fmt: skip
    [one] = clocks.running([row], h(12))[row.pk]
    assert not one.sounds
    assert clock_words(one, h(12)).endswith("fire watch, A watchman, 1 hour late")
    mail_alarm(row.steps.get(verb="alarm"))
    assert mail.outbox == []


def test_what_is_arranged_says_what_who_and_when(scene):
    row, [held] = opened(scene), adopted(scene, "ten-hours-in-a-day", "edition 2026")
    ask = {"actor": scene.owner, "impairment": row, "what": "Fire watch", "who": "A watchman",
           "since": h(1), "at": h(2), "clock": held.clock}  # fmt: skip
    for wrong, code in (
        ({"what": "A sign"}, "what_missing"),
        ({"who": " "}, "who_missing"),
        ({"since": h(3)}, "ahead"),
        ({"since": h(-25)}, "too_early"),
        ({"clock": NoticeClock.objects.get(code="employees-at-once")}, "asks_other"),
    ):
        with pytest.raises(Refused) as refused:
            impairing.arrange(**{**ask, **wrong})
        assert refused.value.code == code
    with pytest.raises(Forbidden):
        impairing.arrange(**{**ask, "actor": scene.authority})
    impairing.arrange(**ask)
    assert not clocks.running([row], h(30))[row.pk][0].sounds


def test_who_is_told_long_before_a_clock_runs_out_hears_another_thing(scene):
    row, [held] = opened(scene), adopted(scene)
    ask = {"actor": scene.owner, "impairment": row, "who": "The commander", "clock": held.clock}
    # The last quarter of its 72 hours begins at 54 h: our own choice.
    with pytest.raises(Refused, match="again then") as refused:
        impairing.tell(told_at=h(53), at=h(53), **ask)
    assert refused.value.code == "too_early"
    say(scene.owner, row, Step.Verb.TOLD, h(1), who="x", happened_at=h(1), clock=held.clock)
    assert clocks.running([row], h(73))[row.pk][0].sounds
    impairing.tell(told_at=h(54), at=h(74), **ask)
    assert not clocks.running([row], h(74))[row.pk][0].sounds


def test_people_are_told_of_planned_work_on_the_day_before(scene):
    row, [held] = opened(scene), adopted(scene, "employees-at-once")
    ask = {"actor": scene.owner, "impairment": row, "who": "All shifts", "clock": held.clock}
    with pytest.raises(Refused):
        impairing.tell(told_at=h(-25), at=h(1), **ask)
    impairing.tell(told_at=h(-23), at=h(1), **ask)
    assert not clocks.running([row], h(1))[row.pk][0].sounds


def test_it_sounds_once_and_promises_one_mail(scene):
    row = opened(scene)
    adopted(scene)
    alarms.sound(h(10))
    assert not row.steps.filter(verb="alarm").exists()
    for _ in range(3):
        alarms.sound(h(73))
    step = row.steps.get(verb="alarm")
    jobs = outbox.waiting().filter(kind="send_alarm")
    assert [job.payload for job in jobs] == [{"step_key": str(step.key)}]
    mail_alarm(step)
    assert {to for message in mail.outbox for to in message.to} == {scene.owner.user.email}
    assert "72 h" in mail.outbox[0].body


def test_no_mail_leaves_once_somebody_was_told(scene):
    row, [held] = opened(scene), adopted(scene)
    alarms.sound(h(73))
    impairing.tell(
        actor=scene.owner, impairment=row, who="The commander", told_at=h(74), at=h(74),
        clock=held.clock,
    )  # fmt: skip
    mail_alarm(Step.objects.get(verb="alarm"))
    assert mail.outbox == []


def test_an_authority_is_mailed_of_a_clock_that_it_adopted_itself_while_it_looks_after_the_site(
    scene,
):
    row = opened(scene)
    adopted(scene)  # the owner's, which the authority did not ask for
    clock = NoticeClock.objects.get(code="employees-at-once")
    clocks.adopt_clock(
        actor=scene.authority, clock=clock, sites=[scene.site], checked_against="", at=AT
    )
    member = MembershipFactory(organisation=scene.authority.organisation, role="member")
    alarms.sound(h(73))

    def mailed(code: str) -> dict[str, str]:
        mail.outbox.clear()
        mail_alarm(row.steps.get(verb="alarm", clock__code=code))
        found = {to: message.body for message in mail.outbox for to in message.to}
        outbox.waiting().filter(kind="send_one_alarm").delete()
        return found

    owner, authority = scene.owner.user.email, scene.authority.user.email
    assert set(mailed("commanders-at-72-hours")) == {owner}
    told = mailed("employees-at-once")
    assert set(told) == {owner, authority}
    assert member.user.email not in told
    assert ("Note it here" in told[owner], "Note it here" in told[authority]) == (True, False)
    assert "How it stands: http" in told[authority]
    oversight = scene.site.site_authorities.get(organisation=scene.authority.organisation)
    oversight.ended_on = timezone.now().date() - timedelta(days=1)
    oversight.save(by=scene.authority)
    assert set(mailed("employees-at-once")) == {owner}
