"""News inside the product: who is told what, once, and what the count in the head costs."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from itm.actions import adopt as adopting
from itm.actions import restore
from itm.actions.hand_in import hand_in
from itm.actions.send_back import send_back
from itm.actions.settle_rows import confirm
from itm.actions.shift_duties import shift_duties
from itm.core import history
from itm.notices import gathering, news
from itm.notices.models import SUBJECT_OF, SUBJECTS, TOLD, News, ReadNews, Wish
from itm.notices.telling import GONE
from itm.registry import attaching
from itm.registry.overseeing import end_oversight
from itm.registry.services import end_engagement, engage
from itm.schedule import shifting
from itm.schedule.models import Duty, Programme
from itm.schedule.services import start_duties
from itm.schedule.shifting import Shift
from itm.schedule.sweep import sweep
from tests.checks import checked
from tests.deeds import discharged, inspection_of, prepared, read, restored, signed
from tests.factories import (
    TODAY,
    AttachmentFactory,
    NewsFactory,
    OrganisationFactory,
    SiteFactory,
    actor_of,
)
from tests.itm.schedule.many import many_duties

K = News.Kind
NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _clock(time_machine):
    """What the factories write lies a day before the first look."""
    time_machine.move_to(NOON - timedelta(days=1), tick=False)


@pytest.fixture
def told(scene, time_machine):
    """What a person is told of all that was done since the factories ended."""
    time_machine.move_to(NOON, tick=False)
    gathering.begin_at(NOON)

    def what(actor, now=NOON) -> list[str]:
        gathering.gather(now)
        return [row.kind for row in news.new_for(actor)]

    return what


def lines(actor) -> list[news.Line]:
    return list(news.lines(actor).object_list)


# Who is told -------------------------------------------------------------------------------------


def test_a_record_is_told_to_who_may_see_it_and_to_nobody_who_did_it(scene, told):
    day = read(discharged(prepared(scene)), {"minimum": 3.2, "design": 3.4})
    assert told(scene.owner) == [K.OUT]
    assert told(scene.authority) == [K.OUT]
    assert told(scene.contractor) == []
    colleague = actor_of(scene.contractor.organisation)
    assert told(colleague) == [K.OUT]
    restored(day)
    hand_in(actor=scene.contractor, key=day.test.key, at=day.tick())
    assert told(scene.owner) == [K.HANDED_IN, K.RESTORED, K.OUT]
    assert told(scene.authority) == [K.RESTORED, K.OUT]
    send_back(actor=scene.owner, key=day.test.key, reason="which meter?", at=day.tick())
    assert told(scene.contractor) == [K.SENT_BACK]
    assert told(scene.authority) == [K.RESTORED, K.OUT]
    [line] = lines(scene.contractor)
    assert (line.told.what, line.told.detail) == ("Result sent back", "which meter?")
    assert line.told.limits == ""
    hand_in(actor=scene.contractor, key=day.test.key, at=day.tick())
    signed(day)
    assert told(scene.authority)[0] == told(scene.owner)[0] == K.SEALED
    assert lines(scene.authority)[0].told.limits == "in band"
    stranger = actor_of(OrganisationFactory(kind="owner"))
    assert told(stranger) == []


def test_the_owner_learns_that_a_result_went_back_though_it_is_a_draft_again(scene, told):
    day = restored(read(discharged(prepared(scene)), {"minimum": 3.2, "design": 3.4}))
    hand_in(actor=scene.contractor, key=day.test.key, at=day.tick())
    supervisor = actor_of(scene.contractor.organisation)
    send_back(actor=supervisor, key=day.test.key, reason="wrong lot", at=day.tick())
    assert told(scene.owner)[0] == K.SENT_BACK
    sent, handed = lines(scene.owner)[:2]
    assert sent.told.detail == "wrong lot"
    assert sent.told.url == reverse("visit", args=[day.test.visit.key])
    # What was handed in is a draft now: nothing of it is told, and there is nothing to open.
    assert (handed.told.what, handed.told.url) == (GONE.what, "")


def test_a_concentrate_check_is_told_as_a_test_is(scene, told):
    check = checked(scene)
    assert check.state == "sealed"
    assert told(scene.owner)[:2] == [K.SEALED, K.HANDED_IN]
    assert told(scene.authority) == [K.SEALED]
    assert told(scene.contractor) == []
    [line, *_] = lines(scene.authority)
    assert line.told.where == f"{scene.site.name}: tank {scene.tank.tag}"
    assert line.told.url == reverse("check", args=[check.key])
    assert "within limits" in line.told.detail


def test_what_is_left_out_of_service_is_told_with_its_reason(scene, told):
    day = prepared(scene)
    line = day.test.visit.restoration_lines.order_by("position").first()
    restore.end_line(
        actor=scene.contractor, line=line, outcome="left_out", reason="seal leaks",
        handed_to="the duty engineer", handed_at=day.tick(), at=day.tick(),
    )  # fmt: skip
    assert told(scene.owner) == [K.LEFT_OUT, K.OUT]
    assert told(scene.authority) == [K.LEFT_OUT, K.OUT]
    assert "seal leaks" in lines(scene.authority)[0].told.detail


def test_many_duties_of_one_site_and_day_are_one_line(scene, told):
    many_duties([scene.site], 3, begun=TODAY)
    day = TODAY - timedelta(days=1)
    with history.bulk(scene.owner, "invented", Duty):
        Duty.objects.update(
            window_opens_on=day, due_on=day, latest_on=day, stands="ahead", stands_changes_on=day
        )
    assert told(scene.owner) == []
    sweep(NOON)
    for _ in range(2):
        for actor in (scene.owner, scene.contractor, scene.authority):
            assert told(actor) == [K.OVERDUE]
        gathering.begin_at(NOON - timedelta(hours=12))  # as after days of being off
    assert News.objects.filter(kind=K.OVERDUE).count() == 1
    [late] = lines(scene.owner)
    assert (late.told.what, late.told.detail) == ("3 duties overdue", "latest day was 14 Jun 2026")
    assert late.told.url == reverse("site", args=[scene.site.key])
    done = Duty.objects.first()
    done.done_on, done.stands = TODAY, "at_rest"
    done.save(by=scene.owner)
    assert lines(scene.owner)[0].told.detail.endswith("1 of them done since")


def test_a_shift_of_many_dates_is_one_line_a_site(scene, told):
    start_duties(actor=scene.owner, proportioner=scene.proportioner)
    start_duties(actor=scene.owner, tank=scene.tank)
    duties = list(shifting.own_open(scene.owner))
    shift_duties(actor=scene.owner, duties=duties, by=Shift(days=1), why="one journey")
    assert told(scene.contractor) == [K.SHIFTED]
    assert told(scene.owner) == []
    assert lines(scene.contractor)[0].told.detail == "one journey"


def test_rows_that_wait_are_told_to_whoever_adopted_even_to_the_one_who_did(scene, told):
    programme = Programme.objects.get(code="us-nfpa25-foam-water")
    adoption, _ = adopting.adopt(actor=scene.owner, programme=programme, starts_on=TODAY)
    assert told(scene.owner) == [K.WAITS]
    assert set(told(actor_of(scene.owner.organisation))) == {K.WAITS, K.ADOPTED}
    assert told(scene.contractor) == told(scene.authority) == [K.ADOPTED]
    waiting = lines(scene.owner)[0].told.detail
    assert "until somebody confirms them" in waiting
    assert lines(scene.contractor)[0].told.url == reverse("adoption", args=[adoption.key])
    rows = [row for row in programme.requirements.all() if row.needs_confirmation]
    confirm(
        actor=scene.owner, adoption=adoption, requirements=rows, checked_against="the edition",
        today=TODAY,
    )  # fmt: skip
    assert lines(scene.owner)[0].told.detail.endswith("all are confirmed")


def test_an_authority_that_sets_a_programme_tells_the_owners_of_its_sites(scene, told):
    programme = Programme.objects.get(code="us-nfpa25-foam-water")
    adopting.adopt(actor=scene.authority, programme=programme, starts_on=TODAY)
    assert told(scene.owner) == [K.ADOPTED]
    assert told(actor_of(OrganisationFactory(kind="owner"))) == []


def test_engaged_and_ended_are_told_to_the_contractor_also_before_and_after(scene, told):
    other = actor_of(OrganisationFactory(kind="contractor"))
    later = TODAY + timedelta(days=30)
    grant = engage(
        actor=scene.owner, site=scene.site, organisation=other.organisation, starts_on=later
    )
    assert told(other) == [K.ENGAGED]
    [line] = lines(other)
    assert line.told.where == scene.site.name
    assert line.told.url == ""  # the site opens with the engagement
    end_engagement(actor=scene.owner, grant=grant, ends_on=later)
    assert told(other) == [K.ENGAGEMENT_CHANGED, K.ENGAGED]
    assert told(scene.contractor) == []  # another contractor's engagement is not theirs to know
    assert told(scene.authority) == []


def test_an_authority_that_lets_go_is_told_to_the_owner(scene, told):
    row = scene.site.site_authorities.get()
    end_oversight(actor=scene.authority, row=row, ended_on=TODAY + timedelta(days=5))
    assert told(scene.owner) == [K.OVERSIGHT_CHANGED]
    assert lines(scene.owner)[0].told.detail.endswith("last day 20 Jun 2026")


def test_a_withdrawn_file_and_a_round_are_told_to_the_site(scene, told):
    file = AttachmentFactory(site=scene.site)
    attaching.withdraw(actor=scene.owner, row=file, why="another site", at=NOON)
    inspection_of(scene)
    assert told(scene.authority) == [K.INSPECTED, K.FILE_WITHDRAWN]
    assert "another site" in lines(scene.authority)[1].told.detail
    assert "1 task done" in lines(scene.authority)[0].told.detail


def test_what_is_no_longer_ones_own_to_see_shows_no_detail(scene, told, client, sign_in):
    inspection_of(scene)
    other = actor_of(OrganisationFactory(kind="contractor"))
    grant = engage(
        actor=scene.owner, site=scene.site, organisation=other.organisation, starts_on=TODAY
    )
    assert K.INSPECTED in told(other)
    end_engagement(actor=scene.owner, grant=grant, ends_on=TODAY)
    tomorrow = replace(other, today=TODAY + timedelta(days=1))
    assert K.INSPECTED not in told(tomorrow)
    # A line that still reaches somebody although its thing does not.
    NewsFactory(site=scene.site, to=other.organisation, thing=uuid4(), note="a secret",
                kind=K.INSPECTED, person="Somebody")  # fmt: skip
    line = news.lines(tomorrow).object_list[0]
    assert line.told == GONE
    text = sign_in(client, other).get(reverse("news")).content.decode()
    assert GONE.what in text
    assert "a secret" not in text
    assert "Somebody" not in text


# Once ---------------------------------------------------------------------------------------------


def test_a_look_that_is_repeated_or_begins_again_tells_nothing_twice(scene, told):
    inspection_of(scene)
    for _ in range(3):
        assert told(scene.authority) == [K.INSPECTED]
    gathering.begin_at(NOON - timedelta(hours=1))
    assert told(scene.authority).count(K.INSPECTED) == 1


def test_a_line_of_a_long_transaction_is_told_though_others_came_first(scene, told, time_machine):
    """Its instant lies before that of the last look, by less than the margin."""
    assert told(scene.authority) == []
    inspection_of(scene)
    gathering.begin_at(NOON + timedelta(minutes=9))
    assert told(scene.authority) == [K.INSPECTED]


def test_what_was_rolled_back_is_not_told(scene, told):
    @transaction.atomic
    def interrupted() -> None:
        inspection_of(scene)
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        interrupted()
    assert told(scene.authority) == []


def test_a_first_look_tells_nothing_of_the_years_before_it(scene):
    inspection_of(scene)
    gathering.gather(NOON + timedelta(days=1))
    assert list(news.new_for(scene.authority)) == []


# Read ---------------------------------------------------------------------------------------------


@pytest.fixture
def five(scene) -> list[News]:
    return [NewsFactory(site=scene.site, thing=scene.site.key, at=NOON) for _ in range(5)]


def new(actor) -> int:
    return int(news.count_new(actor) or 0)


def test_each_person_reads_alone(scene, five):
    colleague = actor_of(scene.owner.organisation)
    news.mark(actor=scene.owner, key=five[2].key)
    news.mark(actor=scene.owner, key=five[2].key)
    assert (new(scene.owner), new(colleague)) == (4, 5)


def test_all_read_leaves_what_came_since_the_page_was_drawn(scene, five):
    news.mark(actor=scene.owner, key=five[0].key)
    news.mark_all(actor=scene.owner, up_to=five[3].key)
    assert new(scene.owner) == 1
    assert not ReadNews.objects.exists()
    news.mark_all(actor=scene.owner, up_to=five[0].key)  # an old page: nothing becomes new by it
    assert new(scene.owner) == 1


def test_what_was_read_can_be_new_again_and_nothing_else_with_it(scene, five):
    news.mark_all(actor=scene.owner, up_to=five[4].key)
    news.mark(actor=scene.owner, key=five[1].key, read=False)
    assert [row.pk for row in news.new_for(scene.owner)] == [five[1].pk]
    news.mark(actor=scene.owner, key=five[1].key)
    news.mark(actor=scene.owner, key=five[1].key, read=False)
    assert [row.pk for row in news.new_for(scene.owner)] == [five[1].pk]


def test_a_subject_that_is_not_wanted_is_neither_listed_nor_counted(client, sign_in, scene, five):
    sign_in(client, scene.owner)
    url = reverse("news_subjects")
    wanted = [name for name in SUBJECTS if name != "duties"]
    assert client.post(url, {"subjects": wanted}).status_code == 302
    assert (new(scene.owner), lines(scene.owner)) == (0, [])
    page = client.get(reverse("notices")).content.decode()
    assert re.search(r'value="records"[^>]* checked', page)
    assert not re.search(r'value="duties"[^>]* checked', page)
    assert client.post(url, {"subjects": ["nonsense"]}).status_code == 422
    client.post(url, {"subjects": list(SUBJECTS)})
    assert new(scene.owner) == 5


def test_every_kind_belongs_to_one_subject_and_reaches_somebody():
    assert sorted(SUBJECT_OF) == sorted(News.Kind.values)
    told = {kind for kinds in TOLD.values() for kind in kinds}
    # These three go to a named organisation, and to no other of the site.
    assert told | {K.WAITS, K.OUTSTANDING, K.MAIL_LOST} == set(News.Kind)
    assert len(" ".join(SUBJECTS)) <= Wish._meta.get_field("not_told").max_length
    assert not [a for a in SUBJECTS for b in SUBJECTS if a != b and a in b]


# The page -----------------------------------------------------------------------------------------


def test_the_head_counts_what_is_new_and_the_page_lists_and_marks_it(
    client, sign_in, scene, told, five
):
    sign_in(client, scene.owner)
    head = client.get(reverse("sites")).content.decode()
    assert re.search(r'href="/news/">News\s*<b>5', head)
    page = client.get(reverse("news")).content.decode()
    assert page.count('<b class="mark">New</b>') == 5
    opened = client.get(reverse("news_open", args=[five[4].key]))
    assert opened["Location"] == reverse("site", args=[scene.site.key])
    left = client.post(reverse("news_mark", args=[five[3].key]), {"query": "new=1"})
    assert left["Location"] == "/news/?new=1"
    assert new(scene.owner) == 3
    client.post(reverse("news_mark", args=[five[3].key]), {"as": "new"})
    assert new(scene.owner) == 4
    client.post(reverse("news_all", args=[five[4].key]))
    assert "<b>" not in client.get(reverse("sites")).content.decode().split("</header>")[0]
    assert "Nothing is new" in client.get(reverse("news") + "?new=1").content.decode()
    assert client.get(reverse("news_mark", args=[five[3].key])).status_code == 405


def test_nothing_to_tell_says_what_will_appear(client, sign_in, scene, told):
    page = sign_in(client, scene.owner).get(reverse("news")).content.decode()
    assert "Nothing to tell yet" in page


@pytest.mark.parametrize("where", ["//elsewhere.example.org", "x\nSet-Cookie: a=b"])
def test_the_way_back_stays_on_the_page(client, sign_in, scene, five, where):
    sign_in(client, scene.owner)
    answer = client.post(reverse("news_mark", args=[five[3].key]), {"query": where})
    assert answer["Location"].startswith("/news/")


def test_the_count_is_one_query_however_much_is_new(scene, django_assert_num_queries):
    with django_assert_num_queries(1):
        assert news.count_new(scene.owner) == ""
    for _ in range(120):
        NewsFactory(site=scene.site, thing=scene.site.key, at=NOON)
    with django_assert_num_queries(1):
        assert news.count_new(scene.owner) == "more than 99"


def test_a_page_of_news_costs_the_same_for_three_lines_and_for_fifty(scene):
    def cost() -> int:
        with CaptureQueriesContext(connection) as captured:
            lines(scene.owner)
        return len(captured)

    def more(count: int) -> None:
        for number in range(count):
            site = SiteFactory(owner=scene.owner.organisation)
            NewsFactory(site=site, thing=site.key, at=NOON, source=f"{count} {number}")

    more(3)
    few = cost()
    more(60)
    assert cost() == few <= 4
