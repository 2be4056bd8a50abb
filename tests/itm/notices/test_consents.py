"""Whoever is said to have agreed hears of it. A rule of our own: no published source."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse

from itm.actions import adopt as adopting
from itm.actions import settle_rows
from itm.notices import gathering, news
from itm.notices.models import News
from itm.registry.overseeing import end_oversight
from itm.schedule.adopting import Agreed
from itm.schedule.consents import answer
from itm.schedule.due import Window
from itm.schedule.models import Consent, Programme
from tests.factories import OrganisationFactory, SiteAuthorityFactory, SiteFactory, actor_of

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)
FROM = date(2026, 1, 1)
K = News.Kind


@pytest.fixture
def programme(scene, time_machine) -> Programme:
    """Adopted before the first look, so that what follows alone is news."""
    time_machine.move_to(NOON, tick=False)
    return Programme.objects.get(code="us-nfpa25-foam-water")


def adopted(scene, programme, site=None):
    adoption, _ = adopting.adopt(actor=scene.owner, programme=programme, starts_on=FROM, site=site)
    gathering.begin_at(NOON)
    return adoption


def agreed(scene) -> Agreed:
    return Agreed(
        scene.authority.organisation, "every two years", "Head of prevention", date(2026, 6, 1),
        "letter 12/2026",
    )  # fmt: skip


def loosened(scene, adoption) -> Consent:
    row = adoption.programme.requirements.get(code="N25-17")
    settle_rows.set_terms(
        actor=scene.owner, adoption=adoption, requirement=row, starts_on=FROM,
        window=Window(18, 24, 30), agreed=agreed(scene),
    )  # fmt: skip
    return Consent.objects.get()


def told(actor, kind=K.CONSENTED) -> list[news.Line]:
    gathering.gather(NOON)
    return [line for line in news.lines(actor).object_list if line.news.kind == kind]


def test_whoever_noted_it_is_told_what_the_authority_answers(scene, programme):
    adoption = adopted(scene, programme)
    noted = loosened(scene, adoption)
    answer(
        actor=scene.authority, consent=noted, said="disputed", words="No such letter.",
        today=NOON.date(),
    )  # fmt: skip
    [line] = told(scene.owner, K.CONSENT_ANSWERED)
    assert line.told.what == "Consent answered by its authority"
    person = scene.authority.user.name
    assert line.told.detail.startswith(f"Disputed by {person} on 15 Jun 2026: No such letter. ")
    assert line.told.url == reverse("adoption", args=[adoption.key])
    assert told(scene.authority, K.CONSENT_ANSWERED) == []  # who said it
    assert told(scene.contractor, K.CONSENT_ANSWERED) == []


@pytest.mark.parametrize("one_site", [True, False])
def test_a_row_that_is_loosened_is_told_to_the_authority_that_is_said_to_have_agreed(
    scene, programme, one_site
):
    adoption = adopted(scene, programme, scene.site if one_site else None)
    loosened(scene, adoption)
    [line] = told(scene.authority)
    assert line.told.what == "Consent of an authority noted"
    assert line.told.url == reverse("adoption", args=[adoption.key])
    assert line.told.where == (
        scene.site.name if one_site else f"all sites of {scene.owner.organisation.name}"
    )
    for said in ("Head of prevention", "1 Jun 2026", "letter 12/2026", "every two years"):
        assert said in line.told.detail
    assert scene.authority.organisation.name in line.told.detail
    assert str(adoption.programme.requirements.get(code="N25-17")) in line.told.detail
    assert told(scene.owner) == []  # who noted it
    assert len(told(actor_of(scene.owner.organisation))) == 1
    assert told(scene.contractor) == []
    assert told(actor_of(OrganisationFactory(kind="authority"))) == []
    assert told(actor_of(OrganisationFactory(kind="owner"))) == []


def test_other_authorities_of_the_sites_are_told_and_none_that_has_let_go(scene, programme):
    adoption = adopted(scene, programme)
    beside = actor_of(OrganisationFactory(kind="authority"))
    gone = actor_of(OrganisationFactory(kind="authority"))
    for actor in (beside, gone):
        SiteAuthorityFactory(site=scene.site, organisation=actor.organisation)
    row = scene.site.site_authorities.get(organisation=gone.organisation)
    end_oversight(actor=gone, row=row, ended_on=NOON.date() - timedelta(days=1))
    loosened(scene, adoption)
    assert [len(told(actor)) for actor in (scene.authority, beside, gone)] == [1, 1, 0]


def test_a_programme_that_is_ended_with_its_consent_is_told_with_it(scene, programme):
    adoption = adopted(scene, programme, scene.site)
    adopting.end(
        actor=scene.owner, adoption=adoption, ends_on=date(2026, 7, 1), agreed=agreed(scene)
    )
    [line] = told(scene.authority)
    assert str(programme) in line.told.detail


def test_what_asks_for_more_needs_no_consent_and_tells_none(scene, programme):
    adoption = adopted(scene, programme, scene.site)
    row = programme.requirements.get(code="N25-17")
    settle_rows.set_terms(
        actor=scene.owner, adoption=adoption, requirement=row, starts_on=FROM,
        window=Window(5, 6, 7), agreed=None,
    )  # fmt: skip
    assert told(scene.authority) == []


def test_an_authority_that_loosens_its_own_tells_the_owners_of_its_sites(scene, programme):
    elsewhere = SiteFactory(owner=OrganisationFactory(kind="owner"))
    adoption, _ = adopting.adopt(actor=scene.authority, programme=programme, starts_on=FROM)
    gathering.begin_at(NOON)
    settle_rows.set_terms(
        actor=scene.authority, adoption=adoption,
        requirement=programme.requirements.get(code="N25-17"), starts_on=FROM,
        window=Window(18, 24, 30), agreed=agreed(scene),
    )  # fmt: skip
    [line] = told(scene.owner)
    assert line.told.where == f"all sites that {scene.authority.organisation.name} looks after"
    assert told(scene.contractor) == []
    assert told(actor_of(elsewhere.owner)) == []
