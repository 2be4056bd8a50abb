"""The day of an order is told before and after it; one made by mistake is withdrawn and not “met”.
Rules of our own: no published source."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core import mail as outgoing
from django.urls import reverse
from icalendar import Calendar

from itm.accounts.actor import acting
from itm.core.errors import Conflict, Forbidden, Refused
from itm.findings import asking, queries
from itm.findings.models import Order
from itm.notices import calendar, gathering, mail
from itm.notices.models import News
from itm.notices.news import lines
from itm.notices.services import membership_of
from itm.notices.wrong import wrong_now
from itm.registry.finding import Wanted
from itm.schedule.services import start_duties
from itm.trends.next_things import next_things
from tests.itm.notices.test_at_once import mailed, now

__all__ = ["now"]
NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)
DAY = date(2026, 6, 20)


def ordered(scene, on: date = DAY, words: str = "Replace the bladder") -> Order:
    return asking.order(actor=scene.authority, site=scene.site, words=words, due_on=on, at=NOON)


def late_lines(actor) -> list:
    return [one for one in lines(actor).object_list if one.news.kind == "order_late"]


def things(actor, at: datetime) -> list:
    return [one for one in next_things(actor, at).object_list if one.kind == "order"]


def body(actor, at: datetime) -> str:
    return mail.body(actor, at, 30, "stop", wrong_now(actor, at))


def test_an_order_is_a_next_thing_before_and_after_its_day(scene, client):
    row = ordered(scene)
    for actor in (scene.owner, scene.authority, scene.contractor):
        [thing] = things(actor, NOON)
        assert (thing.how_long, thing.key) == ("to be met by 20 Jun 2026", row.key)
        [thing] = things(actor, datetime(2026, 6, 23, 12, tzinfo=UTC))
        assert thing.how_long == "3 days late, was to be met by 20 Jun 2026"
    client.force_login(scene.owner.user)
    for page in (reverse("home"), reverse("due"), reverse("due") + "?kind=order"):
        said = client.get(page).content.decode()
        assert f"Order of {row.organisation.name}: Replace the bladder" in said, page
    asking.meet_order(actor=scene.authority, order=row, words="seen", at=NOON)
    assert things(scene.owner, NOON) == []


def test_a_late_order_stands_above_what_is_overdue_and_one_to_come_below(scene):
    ordered(scene, date(2026, 6, 15), "now")
    ordered(scene, date(2026, 9, 1), "then")
    start_duties(actor=scene.owner, proportioner=scene.proportioner)
    later = datetime(2026, 6, 16, 12, tzinfo=UTC)
    owner = acting(membership_of(scene.owner), later.date(), at=later)
    found = [(one.kind, one.how_long) for one in next_things(owner, later).object_list]
    assert [kind for kind, _ in found] == ["order", "overdue", "order"]
    assert found[0][1].startswith("1 day late")


def test_the_weekly_mail_names_each_order_with_its_link(scene):
    row = ordered(scene)
    said = body(scene.owner, datetime(2026, 6, 23, 12, tzinfo=UTC))
    head = f"Orders of an authority\n  - Order of {row.organisation.name}: Replace the bladder"
    assert head in said
    assert "3 days late, was to be met by 20 Jun 2026, not seen by the owner yet" in said
    assert reverse("order", args=[row.key]) in said
    asking.withdraw_order(actor=scene.authority, order=row, because="another site", at=NOON)
    assert "Replace the bladder" not in body(scene.owner, NOON)


def test_the_day_after_is_told_once_and_by_the_clock_of_the_site(scene):
    """At 13:00 UTC on the 20th it is the 21st in Auckland, and at 11:00 it is not."""
    scene.site.time_zone = "Pacific/Auckland"
    scene.site.save(by=scene.owner)
    ordered(scene)
    met = ordered(scene, words="another")
    asking.meet_order(actor=scene.authority, order=met, words="seen", at=NOON)
    gathering.begin_at(datetime(2026, 6, 20, 10, tzinfo=UTC))
    gathering.gather(datetime(2026, 6, 20, 11, tzinfo=UTC))
    assert not News.objects.filter(kind="order_late").exists()
    for hour in (13, 14):
        gathering.gather(datetime(2026, 6, 20, hour, tzinfo=UTC))
    row = News.objects.get(kind="order_late")
    assert row.on == DAY
    for actor in (scene.owner, scene.authority, scene.contractor):
        assert News.objects.visible_to(actor).filter(pk=row.pk).exists()
    [line] = late_lines(scene.owner)
    assert (line.told.what, "by 20 Jun 2026" in line.told.detail) == (
        "The day of an order is over", True,
    )  # fmt: skip


def test_a_worker_that_was_down_tells_it_all_the_same(scene):
    ordered(scene)
    gathering.begin_at(NOON)
    gathering.gather(datetime(2026, 9, 1, tzinfo=UTC))
    assert News.objects.filter(kind="order_late").count() == 1


def test_an_order_is_an_event_of_the_calendar_until_it_is_met(scene):
    row = ordered(scene)

    def event():
        found = Calendar.from_ical(calendar.feed(scene.owner, NOON)).walk("VEVENT")
        return next(one for one in found if str(one["uid"]).startswith(str(row.key)))

    assert (event()["dtstart"].dt, str(event()["status"])) == (DAY, "CONFIRMED")
    assert "Replace the bladder" in str(event()["description"])
    before = int(event()["sequence"])
    asking.meet_order(actor=scene.authority, order=row, words="seen", at=NOON)
    assert str(event()["status"]) == "CANCELLED"
    assert int(event()["sequence"]) > before


def test_one_made_by_mistake_is_withdrawn_and_shown_so_with_the_reason(scene, client):
    row = ordered(scene)
    client.force_login(scene.authority.user)
    there = reverse("order_withdraw", args=[row.key])
    assert client.post(there, {"because": ""}).status_code == 422
    assert client.post(there, {"because": "another site was meant"}).status_code == 302
    row.refresh_from_db()
    assert (row.withdrawn_by, row.met_at, row.is_open) == (scene.authority.person, None, False)
    client.force_login(scene.owner.user)
    page = client.get(reverse("order", args=[row.key])).content.decode()
    assert "another site was meant" in page
    assert "withdrawn" in page
    assert "It is met" not in page
    for stands, there in (("open", []), ("closed", []), ("withdrawn", [row])):
        assert list(queries.orders(scene.owner, Wanted(narrow={"stands": stands}))) == there
    assert queries.open_orders(scene.owner, scene.site) == things(scene.owner, NOON) == []


def test_only_its_maker_withdraws_and_nothing_follows_a_withdrawal(scene):
    row = ordered(scene)
    withdraw = {"order": row, "because": "a slip", "at": NOON}
    for actor in (scene.owner, scene.contractor):
        with pytest.raises(Forbidden, match="can withdraw it"):
            asking.withdraw_order(actor=actor, **withdraw)
    with pytest.raises(Refused, match="Say what is wrong"):
        asking.withdraw_order(actor=scene.authority, order=row, because=" ", at=NOON)
    asking.withdraw_order(actor=scene.authority, **withdraw)
    for again in (
        lambda: asking.withdraw_order(actor=scene.authority, **withdraw),
        lambda: asking.meet_order(actor=scene.authority, order=row, words="seen", at=NOON),
        lambda: asking.see_order(actor=scene.owner, order=row, at=NOON),
    ):
        with pytest.raises(Conflict, match="withdrew this order"):
            again()
    met = ordered(scene)
    asking.meet_order(actor=scene.authority, order=met, words="seen", at=NOON)
    with pytest.raises(Conflict, match="is met"):
        asking.withdraw_order(actor=scene.authority, order=met, because="x", at=NOON)


def test_a_withdrawal_is_told_with_its_reason_and_ends_the_mail(scene, now):
    row = ordered(scene)
    asking.withdraw_order(
        actor=scene.authority, order=row, because="another site", at=NOON + timedelta(hours=1)
    )
    assert mailed(now) == set()
    assert not outgoing.outbox
    told = {one.news.kind: one.told.detail for one in lines(scene.owner).object_list}
    assert told["order_withdrawn"].startswith("another site. ")
