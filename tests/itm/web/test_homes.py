"""The three homes as pages: what is said, what can be opened, what happens with nothing to say."""

import re
from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from itm.accounts.models import Organisation
from itm.findings.deciding import assign, note_by_hand
from itm.findings.models import Deficiency
from itm.schedule.models import Duty
from itm.schedule.services import start_duties
from itm.schedule.standing import stand
from tests.checks import begun, bottle, checked, mixed, sent
from tests.factories import (
    FoamSystemFactory,
    OrganisationFactory,
    ProportionerFactory,
    actor_of,
)
from tests.itm.trends.kept import BY, kept, line, moved, visited

LONG_AGO = date(2019, 6, 1)  # pages read the real clock; duties of then are overdue on any day
URL = re.compile(r'<a href="([^"]+)"')


def page(client, **asked) -> str:
    answer = client.get(reverse("home"), asked)
    assert answer.status_code == 200
    return answer.content.decode()


def now_day() -> date:
    return timezone.now().date()


def test_a_stranger_is_asked_to_sign_in(client):
    answer = client.get(reverse("home"))
    assert (answer.status_code, answer.url) == (302, f"{reverse('sign_in')}?next=/")


@pytest.mark.parametrize("kind", list(Organisation.Kind))
def test_a_home_with_nothing_on_it_says_what_will_be_there(client, db, sign_in, kind):
    sign_in(client, actor_of(OrganisationFactory(kind=kind)))
    said = {
        "owner": "Nothing is wrong or due on record",
        "contractor": "No visit is planned",
        "authority": "No owner has named your authority",
    }
    assert said[kind] in page(client)


def test_owner_reads_what_where_how_long_and_who_has_it(client, scene, sign_in):
    start_duties(actor=BY, proportioner=scene.proportioner)
    test = kept(scene, {"design": 4.1}, on=LONG_AGO, limits="rich")
    text = page(sign_in(client, scene.owner))
    who = f"with {scene.contractor.organisation}"
    for words in ("Latest result", "rich", "4.10 % at design", "Proportioning test", "days late",
                  scene.site.name, scene.system.name, who):  # fmt: skip
        assert words in text
    assert text.index("4.10 % at design") < text.index("days late")
    links = URL.findall(text)
    assert reverse("test", args=[test.key]) in links
    assert reverse("proportioner", args=[scene.proportioner.key]) in links


def test_owner_reads_the_hours_of_an_impairment(client, scene, sign_in):
    visit = visited(scene.contractor, scene.proportioner, now_day(), restored=False)
    visit.started_at = timezone.now() - timedelta(hours=3, minutes=5)
    visit.save(by=BY)
    line(visit, scene.proportioner)
    text = page(sign_in(client, scene.owner))
    assert "out of service" in text
    assert "for 3 hours" in text
    assert reverse("impairment", args=[visit.impairment.key]) in URL.findall(text)


def test_owner_narrows_the_list_by_its_address(client, scene, sign_in):
    start_duties(actor=BY, proportioner=scene.proportioner)
    sign_in(client, scene.owner)
    assert "days late" in page(client, kind="overdue")
    assert "days late" in page(client, site=scene.site.name)
    text = page(client, site="<elsewhere>")
    assert "days late" not in text
    assert "holds “&lt;elsewhere&gt;”" in text
    assert "Nothing of this kind" in page(client, kind="sent_back")


@pytest.mark.parametrize("asked", [{"page": "x"}, {"page": "99"}, {"page": "-1"}, {"kind": "x';"}])
def test_owner_with_a_strange_address_gets_a_page(client, scene, sign_in, asked):
    start_duties(actor=BY, proportioner=scene.proportioner)
    assert "days late" in page(sign_in(client, scene.owner), **asked)


def test_contractor_reads_own_work_and_where_the_next_visit_is_needed(client, scene, sign_in):
    start_duties(actor=BY, proportioner=scene.proportioner)
    draft = kept(scene, on=LONG_AGO, state="draft", handed_in_at=None)
    moved(draft, "send_back", LONG_AGO, "bottle 4 has no label")
    waiting = kept(scene, {"design": 3.3}, on=LONG_AGO, state="handed_in")
    planned = visited(scene.contractor, scene.proportioner, now_day(), started=False)
    running = visited(scene.contractor, scene.proportioner, now_day(), restored=False)
    text = page(sign_in(client, scene.contractor))
    assert "bottle 4 has no label" in text
    links = URL.findall(text)
    for name, row in (("test", waiting), ("visit", planned), ("visit", running)):
        assert reverse(name, args=[row.key]) in links
    assert "planned for" in text


def test_contractor_plans_a_visit_from_the_site_that_needs_one(client, scene, sign_in):
    start_duties(actor=BY, proportioner=scene.proportioner)
    text = page(sign_in(client, scene.contractor))
    assert f"{reverse('visit_new')}?site={scene.site.key}" in URL.findall(text)


def test_inspector_reads_every_system_and_opens_its_trends(client, scene, sign_in):
    second = ProportionerFactory(system=scene.system, tank=scene.tank)
    start_duties(actor=BY, proportioner=second)
    kept(scene, {"design": 2.8}, on=LONG_AGO, limits="lean")
    text = page(sign_in(client, scene.authority))
    assert "Lean or rich" in text
    assert "2.80 %" in text
    links = URL.findall(text)
    for device in (scene.proportioner, second):
        assert reverse("trend", args=[device.key]) in links
    assert "No system of that standing" in page(client, standing="undecided")
    assert scene.system.name in page(client, standing="outside")


def test_inspector_never_reads_a_draft(client, scene, sign_in):
    draft = kept(scene, on=LONG_AGO, state="draft", handed_in_at=None, notes="private words")
    moved(draft, "send_back", LONG_AGO, "private reason")
    text = page(sign_in(client, scene.authority))
    assert scene.system.name in text
    assert "private" not in text
    assert str(draft.key) not in text


MOST = {"owner": 19, "contractor": 15, "authority": 20}


def test_a_home_costs_the_same_for_three_rows_and_for_three_hundred(client, scene, sign_in):
    """Session, person, membership, the look whether a day has passed (zones, and one for each date
    that the sites show), and what the lists themselves cost."""

    visit = visited(scene.contractor, scene.proportioner, LONG_AGO)

    def fill(count: int) -> None:
        for _ in range(count):
            system = FoamSystemFactory(site=scene.site)
            device = ProportionerFactory(system=system, tank=scene.tank)
            start_duties(actor=BY, proportioner=device)
            kept(
                scene, {"design": 2.9}, on=LONG_AGO, limits="lean", proportioner=device, visit=visit
            )

    def cost(who: str) -> int:
        sign_in(client, getattr(scene, who))
        with CaptureQueriesContext(connection) as captured:
            page(client)
        return len(captured)

    fill(3)
    few = {who: cost(who) for who in MOST}
    fill(300)
    for who, most in MOST.items():
        assert cost(who) <= few[who] <= most, who


@pytest.mark.parametrize(("who", "most"), [("owner", 18), ("contractor", 20), ("authority", 18)])
def test_the_same_list_is_there_for_everybody(client, scene, sign_in, who, most):
    start_duties(actor=BY, proportioner=scene.proportioner)
    sign_in(client, getattr(scene, who))
    with CaptureQueriesContext(connection) as captured:
        answer = client.get(reverse("due"), {"kind": "overdue"})
    assert len(captured) <= most
    text = answer.content.decode()
    assert "days late" in text
    assert scene.system.name in text
    assert ("Sent back" in text) == (who != "authority")


def test_a_list_is_up_to_the_day_though_no_clock_has_run(client, scene, sign_in, time_machine):
    """The machine was off over the due day and the last day: the page looks first."""
    start_duties(actor=BY, proportioner=scene.proportioner)
    duty = Duty.objects.get()
    for day, stands in (
        (duty.window_opens_on, "open"), (duty.due_on, "due"), (duty.latest_on, "due"),
        (duty.latest_on + timedelta(days=1), "overdue"),
    ):  # fmt: skip
        stand(duty, duty.counts_from)
        duty.save(by=BY)
        time_machine.move_to(datetime.combine(day, time(12), UTC))
        sign_in(client, scene.owner)
        assert scene.system.name in page(client, kind=stands)
        assert scene.system.name not in page(client, kind="sent_back")


def test_ninety_days_show_by_week_and_one_week_whole(client, scene, sign_in, time_machine):
    time_machine.move_to(datetime(2019, 2, 25, 12, tzinfo=UTC))  # a Monday
    start_duties(actor=BY, proportioner=scene.proportioner)  # due on 1 March
    duty = Duty.objects.get()
    stand(duty, date(2019, 2, 25))
    duty.save(by=BY)
    sign_in(client, scene.authority)
    text = client.get(reverse("due_weeks")).content.decode()
    assert "25 Feb 2019 to 3 Mar 2019" in text
    assert "Friday, 1 Mar 2019" in text
    assert reverse("proportioner", args=[scene.proportioner.key]) in URL.findall(text)
    whole = client.get(reverse("due_weeks"), {"week": "2019-02-27"}).content.decode()
    assert "<h1>25 Feb 2019 to 3 Mar 2019</h1>" in whole
    assert scene.system.name in whole
    empty = client.get(reverse("due_weeks"), {"week": "2019-03-11", "site": "<x>"})
    assert "Nothing falls due in this week" in empty.content.decode()


@pytest.mark.parametrize("week", ["x", "0001-01-01", "9999-12-31", "2019-02-30", "20190225T1"])
def test_a_strange_week_in_the_address_gets_a_page(client, scene, sign_in, week):
    sign_in(client, scene.owner)
    assert client.get(reverse("due_weeks"), {"week": week}).status_code == 200


def test_checks_at_hand_stand_on_the_home_of_who_makes_them(client, scene, sign_in):
    check = begun(scene)
    sent(bottle(check, scene.contractor), scene.contractor)
    handed = checked(scene, until="handed_in", top={**mixed(0.9), "ph": "7.6"})
    checked(scene)
    text = page(sign_in(client, scene.contractor))
    assert "1 bottle at a laboratory, the first since 15 Jun 2026" in text
    assert "handed in, not signed yet" in text
    assert "diluted" in text
    links = URL.findall(text)
    assert [reverse("check", args=[one.key]) for one in (check, handed)] == [
        link for link in links if link.startswith("/checks/") and len(link) > 10
    ]
    assert "Concentrate checks</h2>" not in page(sign_in(client, scene.owner))
    own = begun(scene, by=scene.owner)
    text = page(sign_in(client, scene.owner))
    assert reverse("check", args=[own.key]) in text
    assert "draft, 0 bottles noted" in text


def test_what_an_owner_gave_to_a_contractor_stands_on_its_home_until_it_is_closed(
    client, scene, sign_in
):
    now = timezone.now()
    row = note_by_hand(
        actor=scene.owner, site=scene.site, thing=scene.system, severity=3, words="A sign is gone",
        found_on=LONG_AGO, at=now,
    )  # fmt: skip
    assert "Given to you" not in page(sign_in(client, scene.contractor))
    assign(
        actor=scene.owner, deficiency=row, responsible="", assigned=scene.contractor.organisation,
        target_on=LONG_AGO + timedelta(days=9), at=now,
    )  # fmt: skip
    shown = page(client)
    assert "Given to you to put right" in shown
    assert "A sign is gone" in shown
    assert "was to be done by 10 Jun 2019" in shown
    assert "Given to you" not in page(sign_in(client, scene.owner))
    Deficiency._base_manager.filter(pk=row.pk).update(
        closed_at=now, closed_by="x", outcome="ended", closed_reason="x"
    )
    assert "Given to you" not in page(sign_in(client, scene.contractor))
