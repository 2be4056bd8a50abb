"""Programmes on their pages: source and confidence beside each row, and nothing done unseen."""

from datetime import date

import pytest
from django.urls import reverse
from django.utils.html import escape

from itm.accounts.models import Organisation
from itm.actions.adopt import adopt
from itm.actions.settle_rows import set_terms
from itm.core.models import Change
from itm.schedule.adopting import Agreed
from itm.schedule.due import Window
from itm.schedule.models import Adoption, Confirmation, Duty, Programme, Requirement, Terms
from itm.schedule.services import start_duties
from tests.factories import TODAY, SiteFactory

FROM = "2026-06-15"


@pytest.fixture
def programme(db) -> Programme:
    return Programme.objects.get(code="us-nfpa25-foam-water")


@pytest.fixture
def adoption(scene, programme) -> Adoption:
    row, _ = adopt(actor=scene.owner, programme=programme, starts_on=TODAY, site=scene.site)
    return row


def text(answer) -> str:
    return answer.content.decode()


def test_every_programme_is_listed_with_its_edition(enter):
    said = text(enter("owner").get(reverse("programmes")))
    for row in Programme.objects.all():
        assert escape(row.name) in said
        assert escape(row.edition) in said


def test_each_row_shows_source_and_confidence_and_no_code_of_ours(enter, programme):
    said = text(enter("contractor").get(reverse("programme", args=[programme.pk])))
    for row in programme.requirements.all():
        assert escape(row.words) in said
        assert escape(row.source) in said
        assert escape(row.confidence) in said
        assert row.code not in said


def test_adopting_shows_first_what_would_follow(enter, scene, programme):
    start_duties(actor=scene.owner, proportioner=scene.proportioner, tank=scene.tank)
    client, address = enter("owner"), reverse("programme_adopt", args=[programme.pk])
    changes = Change.objects.count()
    wish = {"site": scene.site.pk, "starts_on": FROM}
    said = text(client.post(address, wish))
    assert "What would follow" in said
    assert "1 site: 3 duties begin." in said
    assert "wait until you confirm them" in said
    assert not Adoption.objects.exists()
    assert Change.objects.count() == changes
    answer = client.post(address, {**wish, "sure": "yes"})
    adoption = Adoption.objects.get()
    assert answer.url == reverse("adoption", args=[adoption.key])
    assert set(
        Duty.objects.filter(requirement__programme=programme).values_list(
            "requirement__code", flat=True
        )
    ) == {"N25-04", "N25-07", "N25-16"}


def test_adopting_for_all_sites_is_all_or_nothing(enter, scene, programme):
    for _ in range(3):
        SiteFactory(owner=scene.owner.organisation)
    client, address = enter("owner"), reverse("programme_adopt", args=[programme.pk])
    said = text(client.post(address, {"site": "", "starts_on": FROM}))
    assert "4 sites" in said
    client.post(address, {"site": "", "starts_on": FROM, "sure": "yes"})
    assert Adoption.objects.get().site is None
    again = client.post(address, {"site": "", "starts_on": FROM, "sure": "yes"})
    assert again.status_code == 422
    assert "is adopted since" in text(again)


def test_a_wrong_day_keeps_what_was_typed(enter, programme):
    answer = enter("owner").post(
        reverse("programme_adopt", args=[programme.pk]), {"starts_on": "15/06/2026"}
    )
    assert answer.status_code == 422
    assert "15/06/2026" in text(answer)
    assert "year, month and day" in text(answer)


def test_rows_are_confirmed_with_their_document_and_taken_back(enter, scene, adoption):
    client, address = enter("owner"), reverse("adoption", args=[adoption.key])
    row = Requirement.objects.get(code="N25-20")
    answer = client.post(address, {"rows": [row.pk], "checked_against": ""})
    assert answer.status_code == 422
    assert "Say which document" in text(answer)
    assert f'value="{row.pk}" checked' in text(answer)
    client.post(address, {"rows": [row.pk], "checked_against": "bought standard, 2023"})
    given = Confirmation.objects.get()
    said = text(client.get(address))
    assert escape(f"by {scene.owner.person}") in said
    assert "against bought standard, 2023" in said
    client.post(reverse("confirmation_take_back", args=[given.key]))
    given.refresh_from_db()
    assert given.taken_back_on is not None


def terms_of(adoption, code: str) -> str:
    row = Requirement.objects.get(code=code)
    return reverse("adoption_terms", args=[adoption.key, row.pk])


def test_tightening_is_done_and_loosening_asks_for_consent(enter, scene, adoption):
    client, address = enter("owner"), terms_of(adoption, "N25-17")
    figures = {"starts_on": FROM, "interval": 6, "unit": "months", "earliest": 4, "latest": 8}
    assert "What would follow" in text(client.post(address, figures))
    client.post(address, {**figures, "sure": "yes"})
    assert Terms.objects.get().interval == 6
    looser = {**figures, "starts_on": "2026-07-01", "interval": 12, "earliest": 9, "latest": 18}
    answer = client.post(address, {**looser, "sure": "yes"})
    assert answer.status_code == 422
    assert "Note the authority&#x27;s consent" in text(answer)
    consent = {
        "authority": scene.authority.organisation.pk, "what": "18 months", "person": "A. Head",
        "given_on": "2026-06-01", "paper": "",
    }  # fmt: skip
    answer = client.post(address, {**looser, **consent})
    assert "A consent says all of it" in text(answer)
    client.post(address, {**looser, **consent, "paper": "file 7", "sure": "yes"})
    assert Terms.objects.latest("pk").consent.paper == "file 7"
    said = text(client.get(reverse("adoption", args=[adoption.key])))
    assert "file 7" in said


def test_a_consent_is_answered_and_a_dispute_stands_on_the_pages_that_rest_on_it(
    enter, scene, adoption
):
    row = adoption.programme.requirements.get(code="N25-17")
    terms, _ = set_terms(
        actor=scene.owner, adoption=adoption, requirement=row, starts_on=TODAY,
        window=Window(18, 24, 30),
        agreed=Agreed(scene.authority.organisation, "two years", "A. Head", TODAY, "file 7"),
    )  # fmt: skip
    address = reverse("consent_answer", args=[terms.consent.key])
    page, site = (
        reverse("adoption", args=[adoption.key]),
        reverse("site_programmes", args=[scene.site.key]),
    )
    assert address not in text(enter("owner").get(page))
    client = enter("authority")
    assert address in text(client.get(page))
    assert "Not yet answered by" in text(client.get(page))
    answer = client.post(address, {"said": "disputed", "words": " "})
    assert answer.status_code == 422
    assert "Say why the consent does not stand" in text(answer)
    assert client.post(address, {"said": "disputed", "words": "No <b>letter</b>."}).url == page
    for shown in (text(client.get(page)), text(enter("owner").get(site))):
        assert "isputed by" in shown
        assert "No &lt;b&gt;letter&lt;/b&gt;." in shown
    assert "A consent is disputed" in text(enter("contractor").get(site))


@pytest.mark.parametrize(
    ("figures", "sentence"),
    [
        ({"interval": "0", "earliest": "0", "latest": "0"}, "The interval is above 0"),
        ({"interval": "6", "earliest": "0", "latest": "13"}, "no wider than the interval"),
        ({"interval": ""}, "Give the interval, or leave the row out"),
        ({"interval": "ten"}, "Enter a whole number"),
    ],
)
def test_bad_figures_get_a_sentence(enter, adoption, figures, sentence):
    wish = {"starts_on": FROM, "unit": "months", "earliest": "", "latest": "", **figures}
    answer = enter("owner").post(terms_of(adoption, "N25-17"), wish)
    assert answer.status_code == 422
    assert sentence in text(answer)


def test_ending_needs_the_authoritys_consent(enter, scene, adoption):
    address = reverse("adoption_end", args=[adoption.key])
    answer = enter("owner").post(address, {"ends_on": FROM, "sure": "yes"})
    assert "Note its consent" in text(answer)
    adoption.refresh_from_db()
    assert adoption.ends_on is None


def test_a_site_says_every_row_that_holds_there(enter, scene, adoption):
    said = text(enter("contractor").get(reverse("site_programmes", args=[scene.site.key])))
    assert "Look over the proportioning system" in said
    assert "Operate manual releases" not in said  # nobody confirmed it
    assert reverse("site_programmes", args=[scene.site.key]) in text(
        enter("contractor").get(reverse("site", args=[scene.site.key]))
    )


def test_an_authority_sets_programme_and_decision_rule(enter, scene, programme):
    client = enter("authority")
    client.post(reverse("programme_adopt", args=[programme.pk]), {"starts_on": FROM, "sure": "yes"})
    assert Adoption.objects.get().adopter == scene.authority.organisation
    assert Duty.objects.filter(requirement__programme=programme, site=scene.site).exists()
    address = reverse("decision_rule")
    answer = client.post(address, {"verdict_probability": "0.3", "lean_probability": ""})
    assert answer.status_code == 422
    assert "at least 0.5 and below 1" in text(answer)
    client.post(address, {"verdict_probability": "0.95", "lean_probability": "0.99"})
    authority = Organisation.objects.get(pk=scene.authority.organisation.pk)
    assert (authority.verdict_probability, authority.lean_probability) == (0.95, 0.99)


def test_pages_ask_no_more_queries_for_more_rows(
    enter, scene, adoption, django_assert_max_num_queries
):
    client = enter("owner")
    for name, argument, most in (
        ("programmes", None, 10),
        ("programme", adoption.programme.pk, 11),
        ("adoption", adoption.key, 14),
        ("site_programmes", scene.site.key, 19),
    ):
        with django_assert_max_num_queries(most):
            assert client.get(reverse(name, args=[argument] if argument else [])).status_code == 200


def test_the_day_of_the_site_is_the_day_of_confirming(enter, scene, adoption):
    row = Requirement.objects.get(code="N25-20")
    enter("owner").post(
        reverse("adoption", args=[adoption.key]), {"rows": [row.pk], "checked_against": "it"}
    )
    assert Confirmation.objects.get().confirmed_on >= date(2026, 6, 15)
