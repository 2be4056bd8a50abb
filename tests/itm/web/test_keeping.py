"""The pages of keeping: what is past its period, and what a person decides about it."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from itm.retention.letting import carry_out
from itm.retention.models import Decision, KeepingPeriod
from itm.web.proving import PROVED
from tests.checks import with_report
from tests.deeds import inspection_of, tested
from tests.factories import SiteFactory, actor_of
from tests.keeping import NOW, OVER, adopted, decided, paper, photographed

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def owner(client: Client, scene: Any, sign_in: Any) -> Client:
    page: Client = sign_in(client, scene.owner)
    return page


def read(client: Client, name: str, *args: Any, **query: Any) -> str:
    answer = client.get(reverse(name, args=args), query)
    assert answer.status_code == 200
    return answer.content.decode()


def plan(scene: Any, **options: Any) -> Any:
    adopted(scene, "eu-pfas-plan")
    return paper(scene, kind="plan", **options)


def test_the_page_of_a_site_leads_there_for_who_may(
    owner: Client, scene: Any, sign_in: Any
) -> None:
    there = reverse("keeping", args=[scene.site.key])
    assert f'href="{there}"' in read(owner, "site", scene.site.key)
    page = sign_in(Client(), actor_of(scene.owner.organisation, "member"))
    assert there not in read(page, "site", scene.site.key)
    assert page.get(there).status_code == 403


def test_empty_it_says_that_all_is_kept_and_what_to_do(owner: Client, scene: Any) -> None:
    text = read(owner, "keeping", scene.site.key)
    assert f'href="{reverse("keeping_sites")}"' in text
    assert "Nothing is kept here yet, and no period is set." in text
    assert "No period is set here, so everything is kept." in text
    assert "Nothing was decided yet." in text
    text = read(owner, "keeping_decide", scene.site.key, "plan")
    assert "No file of this kind may be decided about today." in text
    assert "none: all is kept" in read(owner, "keeping_sites")


def test_a_kind_that_does_not_exist_is_not_found(owner: Client, scene: Any) -> None:
    assert owner.get(f"/sites/{scene.site.key}/keeping/nothing/").status_code == 404


def test_counts_stand_by_site_and_by_kind_with_rule_and_source(owner: Client, scene: Any) -> None:
    adopted(scene, "three-years")
    photographed(scene, date(2018, 6, 15))
    photographed(scene, date(2025, 6, 15))
    text = read(owner, "keeping", scene.site.key)
    assert "International Fire Code 901.6.3: 3 years after it was done" in text
    assert '<td class="num" data-head="Records">2</td>' in text
    assert '<td class="num" data-head="Records past their period">1</td>' in text
    assert '<span class="num">1</span> to decide about' in text
    assert "the next on 16 Jun 2028" in text
    text = read(owner, "keeping_sites")
    assert '<td class="num" data-head="Files past their period">1</td>' in text


def test_a_paper_nobody_has_named_is_counted_and_named_on_its_page(
    owner: Client, scene: Any
) -> None:
    adopted(scene, "eu-pfas-plan")
    row = paper(scene)
    assert "of which nobody has said what it is: kept until somebody does" in read(
        owner, "keeping", scene.site.key
    )
    assert "plan.pdf" in read(owner, "keeping_papers", scene.site.key)
    answer = owner.post(
        reverse("keeping_papers", args=[scene.site.key]), {str(row.key): "plan"}, follow=True
    )
    assert "Noted: 1 said." in answer.content.decode()
    assert "1</span> to decide about" in read(owner, "keeping", scene.site.key)


def test_rules_are_adopted_compared_and_ended_with_a_reason(owner: Client, scene: Any) -> None:
    text = read(owner, "keeping_rules")
    assert "from memory: to be checked" in text
    adopt = reverse("keeping_adopt", args=["eu-pfas-plan"])
    answer = owner.post(adopt, {"sites": [scene.site.key]})
    assert answer.status_code == 422
    assert "name the law, edition or paper" in answer.content.decode()
    assert "checked" in answer.content.decode()
    owner.post(adopt, {"sites": [scene.site.key], "checked_against": "the Official Journal"})
    assert "compared with the Official Journal" in read(owner, "keeping_rules")
    row = KeepingPeriod.objects.get()
    end = reverse("keeping_end", args=[row.key])
    assert owner.post(end, {"why": ""}).status_code == 422
    owner.post(end, {"why": "no PFAS here"})
    text = read(owner, "keeping", scene.site.key)
    assert "no PFAS here" in text
    assert "No period is set here, so everything is kept." in text


def test_an_own_period_shorter_than_a_rule_is_refused_and_what_was_typed_stays(
    owner: Client, scene: Any
) -> None:
    adopted(scene, "three-years")
    there = reverse("keeping_own", args=[scene.site.key])
    answer = owner.post(there, {"kind": "test", "years": "2", "why": "space on the disk"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "end it first and say why" in text
    assert "space on the disk" in text
    text = owner.post(there, {"kind": "test", "years": "two", "why": "x"}).content.decode()
    assert "Write whole years, 1 to 100." in text
    owner.post(there, {"kind": "test", "years": "12", "why": "the insurer asks for it"})
    assert "12 years after it was done" in read(owner, "keeping", scene.site.key)


def given(*rows: Any, **more: str) -> dict[str, Any]:
    return {"keys": [str(row.key) for row in rows], "verb": "let_go", "reason": "space"} | more


def test_let_go_is_decided_with_a_reason_waits_and_can_be_undone(owner: Client, scene: Any) -> None:
    row = plan(scene)
    there = reverse("keeping_decide", args=[scene.site.key, "plan"])
    text = owner.get(there).content.decode()
    assert "what is let go cannot be brought back" in text
    assert "Make an archive first" in text
    answer = owner.post(there, given(row), follow=True)
    text = answer.content.decode()
    assert "The files go on 1 Dec 2026 12:00" in text
    assert "waits" in text
    decision = Decision.objects.get()
    assert "it is decided already that it goes" in read(owner, "keeping", scene.site.key)
    text = owner.post(
        reverse("keeping_take_back", args=[decision.key]), follow=True
    ).content.decode()
    assert "Every file of it stays." in text
    assert "Take it back" not in text
    carry_out(OVER)
    assert owner.get(reverse("attachment_file", args=[row.key])).status_code == 200


def test_what_is_missing_is_said_at_its_place_and_nothing_typed_is_lost(
    owner: Client, scene: Any
) -> None:
    row = plan(scene)
    there = reverse("keeping_decide", args=[scene.site.key, "plan"])
    text = owner.post(there, given(verb="keep", reason="the insurer")).content.decode()
    assert "Choose at least one file." in text
    assert "the insurer" in text
    answer = owner.post(there, given(row, verb="keep", reason="the insurer"))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Say until which day they are kept on." in text
    assert f'value="{row.key}" checked' in text
    owner.post(there, given(row, verb="keep", until="2030-01-01"))
    assert "kept on until 1 Jan 2030" in read(owner, "keeping", scene.site.key)


def test_password_is_asked_for_and_what_was_ticked_stays(owner: Client, scene: Any) -> None:
    row = plan(scene)
    session = owner.session
    session[PROVED] = None
    session.save()
    there = reverse("keeping_decide", args=[scene.site.key, "plan"])
    answer = owner.post(there, given(row))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Your password" in text
    assert f'value="{row.key}" checked' in text
    assert not Decision.objects.exists()
    scene.owner.user.set_password("three parts in a hundred")
    scene.owner.user.save(by=scene.owner)
    owner.force_login(scene.owner.user)
    owner.post(there, given(row, proof="three parts in a hundred"))
    assert Decision.objects.count() == 1


def test_tick_all_ticks_all(owner: Client, scene: Any) -> None:
    adopted(scene, "eu-pfas-plan")
    for number in range(3):
        paper(scene, name=f"{number}.pdf", kind="plan")
    assert read(owner, "keeping_decide", scene.site.key, "plan").count(" checked") == 0
    text = read(owner, "keeping_decide", scene.site.key, "plan", all="yes")
    assert text.count(" checked") == 3


def test_let_go_a_file_is_told_wherever_it_stood(owner: Client, scene: Any) -> None:
    row = plan(scene)
    decision = decided(scene, "plan", row)
    carry_out(OVER)
    words = f"let go on 1 Dec 2026 by {scene.owner.person} under Regulation (EU) 2025/1988"
    for name in ("attachment_file",):
        answer = owner.get(reverse(name, args=[row.key]))
        text = answer.content.decode()
        assert (answer.status_code, words in text, row.sha256 in text) == (410, True, True)
    page = read(owner, "site", scene.site.key)
    assert words in page
    assert reverse("attachment_file", args=[row.key]) not in page
    assert words in read(owner, "attachments", site=scene.site.key)
    text = read(owner, "keeping_decision", decision.key)
    assert "Carried out on 1 Dec 2026" in text
    assert row.sha256 in text


def test_a_photo_of_a_run_that_was_let_go_is_told_on_the_pages_of_its_day(
    owner: Client, scene: Any
) -> None:
    adopted(scene, "three-years")
    record = photographed(scene, date(2018, 6, 15))
    row = scene.site.attachments.get()
    there = reverse("attachment_file", args=[row.key])
    assert there in read(owner, "discharge", record.key)
    decided(scene, "test", row)
    carry_out(OVER)
    page = read(owner, "discharge", record.key)
    assert there not in page
    assert "let go on 1 Dec 2026" in page
    assert "let go on 1 Dec 2026" in read(owner, "proportioner", record.proportioner.key)


def test_a_paper_of_a_laboratory_that_was_let_go_is_told_on_its_check(
    owner: Client, scene: Any
) -> None:
    check = with_report(scene)
    row = check.laboratory_reports.get()
    with time_machine.travel(NOW.replace(year=2031), tick=False):
        adopted(scene, "three-years")
        decided(scene, "check", row, at=timezone.now())
        carry_out(OVER.replace(year=2031))
    there = reverse("laboratory_report_file", args=[row.key])
    page = read(owner, "check", check.key)
    assert there not in page
    assert "let go on 1 Dec 2031" in page
    answer = owner.get(there)
    assert (answer.status_code, "let go on 1 Dec 2031" in answer.content.decode()) == (410, True)


def some_of_everything(scene: Any, years: range, papers: range) -> None:
    for year in years:
        photographed(scene, date(year, 6, 15))
        tested(scene, on=date(year, 8, 15))
    rows = [paper(scene, name=f"{number}.pdf", kind="plan") for number in papers]
    decided(scene, "plan", rows[0])
    decided(scene, "plan", rows[1], verb="keep", until=date(2030, 1, 1))


def test_lists_cost_as_much_for_many_as_for_few(owner: Client, scene: Any) -> None:
    """28 queries for a site are what its kinds of rows take, each asked for once."""
    adopted(scene, "three-years", "one-year-after-the-next", "eu-pfas-plan")
    check = with_report(scene)
    assert check.laboratory_reports.count() == 1
    inspection_of(scene)

    def queries(name: str, *args: Any) -> int:
        with CaptureQueriesContext(connection) as seen:
            read(owner, name, *args)
        return len(seen)

    pages = (
        ("keeping", scene.site.key), ("keeping_sites",),
        ("keeping_decide", scene.site.key, "plan"),
    )  # fmt: skip
    some_of_everything(scene, range(2016, 2017), range(3))
    few = [queries(*one) for one in pages]
    some_of_everything(scene, range(2017, 2020), range(3, 15))
    for _ in range(15):
        adopted(replace(scene, site=SiteFactory(owner=scene.site.owner)), "three-years")
    assert [queries(*one) for one in pages] == few
    assert max(few) <= 28


def test_many_sites_come_in_pages(owner: Client, scene: Any) -> None:
    for _ in range(25):
        SiteFactory(owner=scene.owner.organisation)
    text = read(owner, "keeping_sites")
    assert 'Page <span class="num">1</span> of <span class="num">2</span>' in text
    assert text.count('/keeping/">') == 20
