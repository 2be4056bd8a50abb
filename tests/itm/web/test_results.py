"""The page of a record: the same for all three, and the steps only for those who may take them."""

import re
import uuid
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from itm.records import bench as benches
from itm.records.models import Move, ProportioningTest
from itm.reports.address import check_path
from tests import deeds
from tests.conftest import Scene
from tests.factories import InstrumentFactory, actor_of

SignIn = Callable[[Client, object], Client]
STEPS = ("hand_in", "sign", "send_back", "abandon", "amend")


def url(test: ProportioningTest, name: str = "test") -> str:
    return reverse(name, args=[test.key])


def read(client: Client, test: ProportioningTest) -> str:
    answer = client.get(url(test))
    assert answer.status_code == 200
    return answer.content.decode()


def offered(page: str, test: ProportioningTest) -> set[str]:
    return {step for step in STEPS if f'"{url(test, step)}"' in page}


def test_draft_shows_its_result_so_far_for_each_flow_point(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = deeds.tested(scene, {"minimum": 3.2, "design": 4.2}, until="draft")
    page = read(sign_in(client, scene.contractor), test)
    # The bench was read off a straight line, so the percents come back as they went in.
    assert re.search(r"Flow point minimum.*?3\.20.*?in band.*?of 100", page, re.S)
    assert re.search(r"Flow point design.*?4\.20.*?rich.*?of 100", page, re.S)
    # Arithmetic: 950 L / (600 L/min · 3.2 %) = 49.48 min; 950 L / (1900 L/min · 4.2 %) = 11.9 min.
    assert "49.5 min: covers the required 10 min" in page
    assert "11.9 min: covers the required 10 min" in page
    assert page.count("<svg xmlns") + page.count('<svg viewBox="0 0 640') >= 1
    assert offered(page, test) == {"hand_in", "abandon"}


def test_rich_result_that_empties_the_tank_early_says_so(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = deeds.tested(scene, {"minimum": 3.2, "design": 6.0}, until="draft")
    page = read(sign_in(client, scene.contractor), test)
    # Arithmetic: 950 L / (1900 L/min · 6 %) = 8.33 min of 10 required.
    assert "8.3 min: less than the required 10 min" in page
    assert "The tank is empty before the required time." in page


def test_what_is_missing_stands_with_a_way_to_mend_it(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    day = deeds.discharged(deeds.prepared(scene))
    page = read(sign_in(client, scene.contractor), day.test)
    assert "No result yet." in page
    left = page[page.index("Before it can be handed in") :]
    assert f'href="{url(day.test, "bench")}"' in left
    assert reverse("restoring", args=[day.test.visit.key]) in left
    assert "hand_in" not in offered(page, day.test)
    refused = client.post(url(day.test, "hand_in"), {"once": str(uuid.uuid4())})
    assert refused.status_code == 422
    assert ProportioningTest.objects.get().state == "draft"


def test_double_click_makes_one_hand_in(client: Client, scene: Scene, sign_in: SignIn) -> None:
    test = deeds.tested(scene, until="draft")
    once = re.search(r'name="once" value="([^"]+)"', read(sign_in(client, scene.contractor), test))
    assert once is not None
    for _ in range(2):
        assert client.post(url(test, "hand_in"), {"once": once[1]}).status_code == 302
    assert Move.objects.filter(verb="hand_in").count() == 1
    page = read(client, test)
    assert "it waits for a signature" in page
    assert offered(page, test) == {"sign", "send_back"}


def test_signature_is_filled_in_and_seals(client: Client, scene: Scene, sign_in: SignIn) -> None:
    test = deeds.tested(scene, until="handed_in")
    form = sign_in(client, scene.contractor).get(url(test, "sign")).content.decode()
    user = scene.contractor.user
    assert user is not None
    for known in (user.name, user.qualification, user.licence_number):
        assert f'value="{known}"' in form
    empty = client.post(url(test, "sign"), {"name": "N", "qualification": "", "number": "7"})
    assert empty.status_code == 422
    assert 'value="7"' in empty.content.decode()
    client.post(url(test, "sign"), {"name": "N", "qualification": "Engineer", "number": "7"})
    test.refresh_from_db()
    assert (test.state, test.seal.signer, test.seal.signer_number) == ("sealed", "N", "7")
    page = read(client, test)
    assert test.seal.digest in page
    assert check_path(test.seal) in page
    assert reverse("report_pdf", args=[test.key]) in page


def test_member_hands_in_and_does_not_sign(client: Client, scene: Scene, sign_in: SignIn) -> None:
    test = deeds.tested(scene, until="handed_in")
    assert scene.contractor.organisation is not None
    member = actor_of(scene.contractor.organisation, role="member")
    page = read(sign_in(client, member), test)
    assert offered(page, test) == set()
    assert client.get(url(test, "sign")).status_code == 403
    posted = client.post(url(test, "sign"), {"name": "N", "qualification": "E"})
    assert posted.status_code == 403


def test_owner_sends_back_with_a_reason_that_the_crew_reads(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = deeds.tested(scene, until="handed_in")
    page = read(sign_in(client, scene.owner), test)
    assert offered(page, test) == {"send_back"}
    assert client.post(url(test, "send_back"), {"reason": " "}).status_code == 422
    answer = client.post(url(test, "send_back"), {"reason": "wrong flow point"}, follow=True)
    # The draft is the crew's own again, so the owner is shown the visit instead.
    assert answer.redirect_chain[0][0] == reverse("visit", args=[test.visit.key])
    assert "Sent back with your reason." in answer.content.decode()
    page = read(sign_in(client, scene.contractor), test)
    assert "sent back" in page
    assert "wrong flow point" in page


def test_authority_reads_a_sealed_record_and_nothing_before(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    waiting = deeds.tested(scene, until="handed_in")
    assert sign_in(client, scene.authority).get(url(waiting)).status_code == 404
    sealed = deeds.tested(scene)
    for actor in (scene.authority, scene.owner):
        page = read(sign_in(client, actor), sealed)
        assert "3.20" in page
        assert offered(page, sealed) == set()


def test_sealed_page_reads_the_sealed_bytes_and_not_the_rows(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    sealed = deeds.tested(scene)
    was = scene.system.name
    scene.system.name = "A later name"
    scene.system.save(by=scene.owner)
    page = read(sign_in(client, scene.owner), sealed)
    assert was in page[page.index('id="day"') :]


def test_amendment_is_a_new_draft_that_names_the_sealed_record(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    sealed = deeds.tested(scene)
    page = read(sign_in(client, scene.contractor), sealed)
    assert offered(page, sealed) == {"amend"}
    client.post(url(sealed, "amend"), {"reason": "lot noted wrongly"})
    draft = ProportioningTest.objects.get(amends=sealed)
    page = read(client, draft)
    assert "lot noted wrongly" in page
    assert url(sealed) in page
    assert "Being corrected" in read(client, sealed)


def test_abandoned_draft_keeps_its_readings(client: Client, scene: Scene, sign_in: SignIn) -> None:
    test = deeds.tested(scene, until="draft")
    sign_in(client, scene.contractor)
    assert client.post(url(test, "abandon"), {"reason": ""}).status_code == 422
    client.post(url(test, "abandon"), {"reason": "wrong proportioner"})
    page = read(client, test)
    assert "Abandoned" in page
    assert "wrong proportioner" in page
    assert "1.333" in page
    assert offered(page, test) == set()


def test_undecided_answer_says_what_would_settle_it(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    assert scene.contractor.organisation is not None
    InstrumentFactory(organisation=scene.contractor.organisation)
    scene.instrument.repeatability = Decimal("0.00004")
    scene.instrument.save(by=scene.contractor)
    test = deeds.tested(scene, {"minimum": 3.4, "design": 3.05}, until="draft")
    page = read(sign_in(client, scene.contractor), test)
    assert "Would settle it:" in page


def test_set_aside_reading_is_struck_through_with_its_reason(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = deeds.tested(scene, until="draft")
    sign_in(client, scene.contractor)
    bottle = test.bench.bottles.get(label="S1")
    first = bottle.readings.get()
    client.post(reverse("reading_aside", args=[test.key, first.key]), {"reason": "bubble"})
    page = read(client, test)
    assert f"<s>{first.value_typed}</s>" in page
    assert "set aside: bubble" in page


@pytest.mark.parametrize("step", STEPS)
def test_steps_of_another_contractor_are_not_found(
    client: Client, scene: Scene, sign_in: SignIn, step: str
) -> None:
    test = deeds.tested(scene, until="draft")
    assert sign_in(client, scene.authority).post(url(test, step), {}).status_code == 404


@pytest.mark.parametrize("bottles", [3, 12])
def test_queries_do_not_grow_with_the_bottles(
    client: Client, scene: Scene, sign_in: SignIn, django_assert_max_num_queries, bottles: int
) -> None:
    day = deeds.discharged(deeds.prepared(scene), samples=bottles)
    deeds.read(deeds.restored(day), {"minimum": 3.2, "design": 3.4})
    sign_in(client, scene.contractor)
    with django_assert_max_num_queries(42):
        record = read(client, day.test)
    with django_assert_max_num_queries(45):
        bench = client.get(url(day.test, "bench"))
    assert record.count("minimum") >= bottles
    assert bench.status_code == 200


def test_same_warning_about_several_bottles_stands_once(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = deeds.tested(scene, {"minimum": 3.2, "design": 4.4}, until="draft")
    page = read(sign_in(client, scene.contractor), test)
    assert page.count("outside the fitted points") == 1
    assert "sample design 1, sample design 2" in page


def test_draft_that_was_sent_back_shows_the_reason_first(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = deeds.tested(scene, until="handed_in")
    sign_in(client, scene.owner).post(url(test, "send_back"), {"reason": "wrong flow point"})
    page = read(sign_in(client, scene.contractor), test)
    assert page.index("Sent back</strong>") < page.index('class="answers"')


def test_reading_typed_with_spaces_and_a_comma_draws_the_same_curve(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    test = deeds.tested(scene, until="draft")
    bottle = test.bench.bottles.get(label="S1")
    first = bottle.readings.get()
    spaced = f"{first.value_typed[:5]}\u2009{first.value_typed[5:]}".replace(".", ",")
    benches.add_reading(
        actor=scene.contractor, bottle=bottle, value_typed=spaced, temperature_typed="20",
        at=first.read_at,
    )  # fmt: skip
    page = read(sign_in(client, scene.contractor), test)
    assert spaced in page
    assert re.search(r"Flow point minimum.*?3\.20", page, re.S)
