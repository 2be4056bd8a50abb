"""Whoever is said to have agreed says whether it did. A rule of our own: no published source."""

from datetime import date

import pytest

from itm.actions import settle_rows
from itm.actions.adopt import adopt, end
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.models import Change
from itm.schedule import consents
from itm.schedule.adopting import Agreed
from itm.schedule.due import Window
from itm.schedule.models import Adoption, Duty, Programme
from tests.factories import TODAY, OrganisationFactory, SiteAuthorityFactory, actor_of

LOOSE = Window(18, 24, 30)


def agreed(authority) -> Agreed:
    return Agreed(authority, "every two years", "Head of prevention", TODAY, "letter 12/2026")


@pytest.fixture
def adoption(scene):
    programme = Programme.objects.get(code="us-nfpa25-foam-water")
    row, _ = adopt(actor=scene.owner, programme=programme, starts_on=TODAY, site=scene.site)
    return row


def loosened(scene, adoption, starts_on=TODAY, window=LOOSE):
    terms, _ = settle_rows.set_terms(
        actor=scene.owner, adoption=adoption,
        requirement=adoption.programme.requirements.get(code="N25-17"), starts_on=starts_on,
        window=window, agreed=agreed(scene.authority.organisation),
    )  # fmt: skip
    return terms.consent


def said(actor, consent, what="disputed", words="No such letter left this house."):
    return consents.answer(actor=actor, consent=consent, said=what, today=TODAY, words=words)


def disputed(scene, today=TODAY):
    held = Adoption.objects.filter(site=scene.site)
    return list(consents.disputed(scene.owner, held, today))


def test_until_it_is_answered_it_says_so(scene, adoption):
    row = loosened(scene, adoption)
    assert row.stands == f"not yet answered by {scene.authority.organisation.name}"
    assert disputed(scene) == []


def test_an_answer_stands_with_its_person_and_day_and_moves_no_duty(scene, adoption):
    row = loosened(scene, adoption)
    duties = list(Duty.objects.order_by("pk").values())
    said(scene.authority, row)
    row.refresh_from_db()
    person = scene.authority.user.name
    assert row.stands == f"disputed by {person} on 15 Jun 2026: No such letter left this house."
    assert disputed(scene) == [row]
    assert list(Duty.objects.order_by("pk").values()) == duties


def test_it_may_be_answered_again_and_the_history_has_both(scene, adoption):
    row = loosened(scene, adoption)
    said(scene.authority, row)
    said(scene.authority, row, "confirmed", "")
    row.refresh_from_db()
    assert row.stands.startswith("confirmed by ")
    assert disputed(scene) == []
    verbs = Change.objects.filter(model="schedule.Consent").order_by("pk")
    assert list(verbs.values_list("verb", flat=True)) == ["noted", "disputed", "confirmed"]


@pytest.mark.parametrize(("what", "words"), [("disputed", ""), ("perhaps", "x"), ("", "x")])
def test_an_answer_without_its_reason_or_of_another_kind_is_refused(scene, adoption, what, words):
    row = loosened(scene, adoption)
    with pytest.raises(Refused):
        said(scene.authority, row, what, words)
    row.refresh_from_db()
    assert row.answer == ""


def test_only_who_leads_the_authority_that_is_named_answers(scene, adoption):
    row = loosened(scene, adoption)
    beside = OrganisationFactory(kind="authority")
    SiteAuthorityFactory(site=scene.site, organisation=beside)
    member = actor_of(scene.authority.organisation, role="member")
    for actor in (scene.owner, scene.contractor, actor_of(beside), member):
        assert not consents.may_answer(actor, row)
        with pytest.raises(Forbidden):
            said(actor, row)
    assert consents.may_answer(scene.authority, row)
    with pytest.raises(NotFound):
        consents.consent(actor_of(OrganisationFactory(kind="authority")), row.key)


def test_what_an_authority_notes_of_itself_needs_no_answer(scene):
    programme = Programme.objects.get(code="us-nfpa25-foam-water")
    held, _ = adopt(actor=scene.authority, programme=programme, starts_on=TODAY)
    terms, _ = settle_rows.set_terms(
        actor=scene.authority, adoption=held,
        requirement=programme.requirements.get(code="N25-17"), starts_on=TODAY,
        window=LOOSE, agreed=agreed(scene.authority.organisation),
    )  # fmt: skip
    assert terms.consent.stands == "noted by the authority itself"
    with pytest.raises(Forbidden):
        said(scene.authority, terms.consent)


def test_terms_that_follow_no_longer_rest_on_it(scene, adoption):
    first = loosened(scene, adoption)
    said(scene.authority, first)
    later = date(TODAY.year + 1, 1, 1)
    second = loosened(scene, adoption, starts_on=later, window=Window(17, 24, 31))
    assert disputed(scene) == [first]
    assert disputed(scene, later) == []
    said(scene.authority, second)
    assert disputed(scene, later) == [second]


def test_an_end_that_is_disputed_stays_named(scene, adoption):
    end(
        actor=scene.owner, adoption=adoption, ends_on=TODAY,
        agreed=agreed(scene.authority.organisation),
    )  # fmt: skip
    [row] = consents.consents_of(scene.owner, adoption)
    said(scene.authority, row)
    assert disputed(scene, date(TODAY.year + 1, 1, 1)) == [row]
