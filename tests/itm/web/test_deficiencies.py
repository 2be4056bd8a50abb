"""The pages of what is wrong, as owner, contractor and authority meet them."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from itm.actions.take_back_start import take_back_start
from itm.findings.models import Deficiency, Impairment, Order, Question
from itm.notices.gathering import begin_at, gather
from itm.notices.models import News
from itm.notices.telling import told_of
from itm.registry.models import Attachment
from tests.deeds import prepared, tested
from tests.itm.registry.pictures import picture

LEAN = {"minimum": 2.0, "design": 3.4}


@pytest.fixture
def lean(scene):
    tested(scene, LEAN)
    return Deficiency.objects.get(cause="lean", spot="minimum")


def page(sign_in, actor, name, *args, **query):
    client = sign_in(Client(), actor)
    got = client.get(reverse(name, args=args), query)
    assert got.status_code == 200, got.status_code
    return got.content.decode()


def post(sign_in, actor, name, *args, **data):
    return sign_in(Client(), actor).post(reverse(name, args=args), data)


def test_the_three_meet_it_on_every_page_that_names_the_thing(scene, sign_in, lean):
    for actor in (scene.owner, scene.contractor, scene.authority):
        for name, row in (
            ("site", scene.site), ("system", scene.system), ("proportioner", scene.proportioner),
            ("test", lean.test),
        ):  # fmt: skip
            shown = page(sign_in, actor, name, row.key)
            assert "Lean at minimum" in shown, (actor.kind, name)
            assert reverse("deficiency", args=[lean.key]) in shown
        assert "impairment" in page(sign_in, actor, "deficiencies", stands="open")


def test_an_impairment_asks_who_was_told_until_somebody_says(scene, sign_in, lean):
    assert "Nobody is noted as told yet" in page(sign_in, scene.contractor, "deficiency", lean.key)
    assert "tell the owner before leaving" in page(sign_in, scene.contractor, "test", lean.test.key)
    got = post(
        sign_in, scene.contractor, "deficiency_tell", lean.key, who="Duty engineer",
        told_at="2026-06-16T08:00",
    )  # fmt: skip
    assert got.status_code == 302
    shown = page(sign_in, scene.authority, "deficiency", lean.key)
    assert "Duty engineer" in shown
    assert "Nobody is noted as told yet" not in shown


def test_a_refusal_keeps_what_was_typed(scene, sign_in, lean):
    got = post(sign_in, scene.owner, "deficiency_class", lean.key, severity="1", reason="near it")
    assert got.status_code == 422
    assert "stands in this class already" in got.content.decode()
    assert "near it" in got.content.decode()


def test_it_is_noted_by_hand_with_a_photo(scene, sign_in):
    got = post(
        sign_in, scene.contractor, "deficiency_new", scene.site.key, severity="3",
        place=f"tank:{scene.tank.key}", words="The level gauge is cracked", found_on="2026-06-10",
        caption="gauge", chosen=[SimpleUploadedFile("gauge.png", picture())],
    )  # fmt: skip
    assert got.status_code == 302, got.content.decode()[:2000]
    row = Deficiency.objects.get()
    assert (row.tank, row.severity) == (scene.tank, 3)
    assert row.steps.get(verb="pictured").photo == Attachment.objects.get()
    assert "The level gauge is cracked" in page(sign_in, scene.owner, "tank", scene.tank.key)


def test_the_table_for_a_spreadsheet_runs_nothing(scene, sign_in):
    post(
        sign_in, scene.owner, "deficiency_new", scene.site.key, severity="2", place="",
        words="=1+1 is written on the panel", found_on="2026-06-10", caption="",
    )  # fmt: skip
    got = sign_in(Client(), scene.authority).get(reverse("deficiencies_csv"))
    assert "'=1+1" in got.content.decode()


def test_an_impairment_by_hand_from_its_opening_to_its_end(scene, sign_in):
    got = post(
        sign_in, scene.owner, "impairment_new", scene.site.key, systems=[scene.system.pk],
        reason="a leak", coordinator="Duty engineer", started_at="2026-06-10T08:00",
    )  # fmt: skip
    row = Impairment.objects.get()
    assert got["Location"] == reverse("impairment", args=[row.key])
    got = post(
        sign_in, scene.owner, "impairment_arrange", row.key, what="Temporary water supply",
        who="Duty engineer", since="2026-06-15T13:00",
    )  # fmt: skip
    assert got.status_code == 302
    assert "Temporary water supply" in page(sign_in, scene.authority, "impairment", row.key)
    post(
        sign_in, scene.owner, "impairment_round", row.key, who="A watchman",
        walked_at="2026-06-10T09:00", words="all quiet",
    )  # fmt: skip
    for actor in (scene.owner, scene.contractor, scene.authority):
        assert "all quiet" in page(sign_in, actor, "impairment", row.key)
        assert "Out of service" in page(sign_in, actor, "due")
    got = post(
        sign_in, scene.owner, "impairment_end", row.key, words="new gasket",
        ended_at="2026-06-10T12:00",
    )  # fmt: skip
    assert got.status_code == 302
    assert "new gasket" in page(sign_in, scene.authority, "impairment", row.key)


def test_a_question_and_an_order_go_to_and_fro(scene, sign_in, lean):
    post(sign_in, scene.authority, "test_question_new", lean.test.key, words="Which water?")
    row = Question.objects.get()
    post(sign_in, scene.contractor, "question", row.key, words="From the hydrant.")
    assert "From the hydrant." in page(sign_in, scene.owner, "question", row.key)
    assert "Which water?" in page(sign_in, scene.contractor, "test", lean.test.key)
    client = sign_in(Client(), scene.authority)
    client.post(
        f"{reverse('order_new', args=[scene.site.key])}?deficiency={lean.key}",
        {"words": "Retest it", "due_on": "2099-01-01"},
    )
    made = Order.objects.get()
    assert made.deficiency == lean
    assert "Retest it" in page(sign_in, scene.owner, "deficiency", lean.key)
    post(sign_in, scene.owner, "order_see", made.key)
    assert scene.owner.person in page(sign_in, scene.authority, "order", made.key)


def test_a_start_that_was_taken_back_stays_on_its_page_and_in_the_list(scene, sign_in):
    day = prepared(scene)
    row = Impairment.objects.get()
    take_back_start(actor=day.actor, visit=day.test.visit, at=day.tick())
    for actor in (scene.owner, scene.contractor, scene.authority):
        listed = page(sign_in, actor, "impairments", stands="taken_back")
        assert "Started by mistake" in listed
        assert reverse("impairment", args=[row.key]) in listed
        shown = page(sign_in, actor, "impairment", row.key)
        assert "Taken back: started by mistake on 15 Jun 2026" in shown
        assert "Back in service" not in shown


def test_the_news_of_such_a_start_lead_there_where_the_visit_is_the_crew_s_alone(scene):
    begin_at(timezone.now() - timedelta(days=1))
    day = prepared(scene)
    take_back_start(actor=day.actor, visit=day.test.visit, at=day.tick())
    gather(timezone.now())
    there = reverse("impairment", args=[Impairment.objects.get().key])
    for actor in (scene.owner, scene.authority):
        told = [
            one
            for one in told_of(actor, News.objects.visible_to(actor)).values()
            if "test day" in one.what
        ]
        assert [(one.what, one.url) for one in told] == [
            ("Start of the test day taken back", there)
        ]
