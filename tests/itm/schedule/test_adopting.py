"""Adopt, confirm, tighten, loosen with consent: what holds at a site, and what is refused."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction

from itm.core.errors import Forbidden, Refused
from itm.core.models import Change
from itm.schedule import adopting
from itm.schedule.adopting import Agreed, looser
from itm.schedule.chains import segments
from itm.schedule.deriving import rules_at
from itm.schedule.due import Window
from itm.schedule.models import Adoption, Confirmation, Programme, Requirement, Terms
from itm.schedule.rules import adoptions_at, claims
from tests.factories import (
    TODAY,
    OrganisationFactory,
    SiteAuthorityFactory,
    SiteFactory,
    actor_of,
)

FROM = date(2026, 1, 1)
LATER = date(2026, 9, 1)
YEARLY, HALF = Window(9, 12, 15), Window(4, 6, 8)


@pytest.fixture
def programme(db):
    return Programme.objects.get(code="us-nfpa25-foam-water")


@pytest.fixture
def adoption(scene, programme):
    return adopting.adopt(actor=scene.owner, programme=programme, starts_on=FROM, site=scene.site)


def row(code: str) -> Requirement:
    return Requirement.objects.get(code=code)


def agreed(scene, **values) -> Agreed:
    return Agreed(
        **{
            "authority": scene.authority.organisation,
            "what": "yearly instead of half-yearly",
            "person": "Head of prevention",
            "given_on": date(2026, 2, 1),
            "paper": "letter 12/2026",
            **values,
        }
    )


def ruling(scene, code: str, on: date):
    """(row, window) that holds on the day, or None."""
    slot = ("us-nfpa25-foam-water", code)
    parts = [
        p for p in segments(claims(adoptions_at(scene.site)).get(slot, [])) if p.starts_on <= on
    ]
    return (parts[-1].rule, parts[-1].window) if parts and parts[-1].rule else None


# Adopting ---------------------------------------------------------------------------------------


def test_looked_up_rows_hold_from_the_day(scene, adoption):
    assert ruling(scene, "N25-17", FROM) == (row("N25-17"), YEARLY)
    assert ruling(scene, "N25-17", date(2025, 12, 31)) is None


def test_rows_from_memory_hold_only_once_confirmed(scene, adoption):
    assert ruling(scene, "N25-25", LATER) is None
    adopting.confirm(
        actor=scene.owner, adoption=adoption, requirements=[row("N25-25")],
        checked_against="the bought standard, 2023", today=date(2026, 6, 15),
    )  # fmt: skip
    assert ruling(scene, "N25-25", date(2026, 6, 14)) is None
    assert ruling(scene, "N25-25", date(2026, 6, 15)) == (row("N25-25"), Window(54, 60, 66))
    given = Confirmation.objects.get()
    assert (given.person, given.confirmed_on) == (scene.owner.person, date(2026, 6, 15))


def test_a_confirmation_taken_back_ends_the_row(scene, adoption):
    day = date(2026, 6, 15)
    [given] = adopting.confirm(
        actor=scene.owner, adoption=adoption, requirements=[row("N25-25")],
        checked_against="the bought standard, 2023", today=day,
    )  # fmt: skip
    for _ in range(2):
        adopting.take_back(actor=scene.owner, confirmation=given, today=LATER)
    assert ruling(scene, "N25-25", day) is not None
    assert ruling(scene, "N25-25", LATER) is None


def test_confirming_is_all_or_nothing_and_may_run_twice(scene, adoption):
    for wanted in ([row("N25-25"), row("N11-06")], []):
        with pytest.raises(Refused):
            adopting.confirm(
                actor=scene.owner, adoption=adoption, requirements=wanted,
                checked_against="it", today=FROM,
            )  # fmt: skip
    assert not Confirmation.objects.exists()
    for _ in range(2):
        adopting.confirm(
            actor=scene.owner, adoption=adoption, requirements=[row("N25-25")],
            checked_against="it", today=FROM,
        )  # fmt: skip
    assert Confirmation.objects.count() == 1


def test_a_place_held_for_a_row_cannot_be_confirmed_without_an_interval(scene):
    programme = Programme.objects.get(code="us-dod")
    adoption = adopting.adopt(actor=scene.owner, programme=programme, starts_on=FROM)
    with pytest.raises(Refused, match="has no interval here"):
        adopting.confirm(
            actor=scene.owner, adoption=adoption, requirements=[row("DOD-01")],
            checked_against="UFC 3-601-02", today=FROM,
        )  # fmt: skip
    adopting.set_terms(
        actor=scene.owner,
        adoption=adoption,
        requirement=row("DOD-01"),
        starts_on=FROM,
        window=YEARLY,
    )
    adopting.confirm(
        actor=scene.owner, adoption=adoption, requirements=[row("DOD-01")],
        checked_against="UFC 3-601-02", today=FROM,
    )  # fmt: skip
    [claim] = claims(adoptions_at(scene.site))["us-dod", "DOD-01"]
    assert claim.window == YEARLY


def test_a_site_of_another_owner_is_refused(scene, programme):
    with pytest.raises(Forbidden):
        adopting.adopt(actor=scene.owner, programme=programme, starts_on=FROM, site=SiteFactory())
    with pytest.raises(Forbidden):
        adopting.adopt(actor=scene.contractor, programme=programme, starts_on=FROM)


def test_a_new_edition_ends_the_one_before_on_the_day_before(scene, programme, adoption):
    newer = Programme.objects.create(code=programme.code, name=programme.name, edition="2029")
    with pytest.raises(Refused, match="choose a later day"):
        adopting.adopt(actor=scene.owner, programme=newer, starts_on=FROM, site=scene.site)
    adopting.adopt(actor=scene.owner, programme=newer, starts_on=LATER, site=scene.site)
    adoption.refresh_from_db()
    assert adoption.ends_on == date(2026, 8, 31)
    with pytest.raises(Refused, match="is adopted since"):
        adopting.adopt(actor=scene.owner, programme=newer, starts_on=LATER, site=scene.site)


def test_the_edition_that_an_authority_set_is_the_one_to_adopt(scene, programme):
    newer = Programme.objects.create(code=programme.code, name=programme.name, edition="2029")
    adopting.adopt(actor=scene.authority, programme=newer, starts_on=FROM)
    with pytest.raises(Refused, match="adopt that edition"):
        adopting.adopt(actor=scene.owner, programme=programme, starts_on=FROM, site=scene.site)
    adopting.adopt(actor=scene.owner, programme=newer, starts_on=FROM, site=scene.site)


def test_what_an_authority_sets_holds_at_its_sites_and_nowhere_else(scene, programme):
    adopting.adopt(actor=scene.authority, programme=programme, starts_on=FROM)
    assert ruling(scene, "N25-17", FROM) == (row("N25-17"), YEARLY)
    assert claims(adoptions_at(SiteFactory(owner=scene.owner.organisation))) == {}


def test_what_an_authority_set_holds_as_long_as_it_looks_after_the_site(scene, programme):
    adopting.adopt(actor=scene.authority, programme=programme, starts_on=FROM)
    over = scene.site.site_authorities.get()
    for last in (None, TODAY, FROM):
        over.ended_on = last
        over.save(by=scene.authority)
        made = rules_at(scene.site).claims.values()
        assert {claim.ends_on for slot in made for claim in slot} == {last}
    SiteAuthorityFactory(site=scene.site, organisation=over.organisation)  # and named again
    made = rules_at(scene.site).claims.values()
    assert {claim.ends_on for slot in made for claim in slot} == {None}


def test_an_authority_that_let_go_has_no_say_any_more(scene, adoption):
    over = scene.site.site_authorities.get()
    over.ended_on = TODAY - timedelta(days=1)
    over.save(by=scene.authority)
    with pytest.raises(Refused) as refused:
        adopting.end(
            actor=scene.owner, adoption=adoption, ends_on=TODAY, agreed=agreed(scene, what="ended")
        )
    assert refused.value.code == "wrong_authority"
    adopting.end(actor=scene.owner, adoption=adoption, ends_on=TODAY)
    adoption.refresh_from_db()
    assert adoption.ends_on == TODAY


def test_what_holds_everywhere_is_not_adopted(scene):
    everywhere = Programme.objects.get(everywhere=True)
    with pytest.raises(Refused, match="holds everywhere"):
        adopting.adopt(actor=scene.owner, programme=everywhere, starts_on=FROM)


# Tighter and looser -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("new", "old", "is_looser"),
    [
        (HALF, YEARLY, False),
        (YEARLY, HALF, True),
        (YEARLY, YEARLY, False),
        (Window(10, 12, 14), YEARLY, False),
        (Window(8, 12, 15), YEARLY, True),  # two tests closer together than the row allows
        (Window(9, 12, 16), YEARLY, True),
        (Window(0, 30, 30, "days"), Window(1, 1, 1, "calendar_months"), True),  # 31 January + 30
        (Window(1, 1, 1, "calendar_weeks"), Window(1, 1, 1, "calendar_months"), False),
        (Window(0, 365, 365, "days"), Window(0, 12, 12), False),
        (Window(0, 366, 366, "days"), Window(0, 12, 12), True),
    ],
)
def test_looser_is_asked_of_the_calendar(new, old, is_looser):
    assert looser(new, old) is is_looser


def test_an_owner_tightens_from_a_day_on(scene, adoption):
    adopting.set_terms(
        actor=scene.owner,
        adoption=adoption,
        requirement=row("N25-17"),
        starts_on=LATER,
        window=HALF,
    )
    assert ruling(scene, "N25-17", FROM) == (row("N25-17"), YEARLY)
    assert ruling(scene, "N25-17", LATER) == (row("N25-17"), HALF)


@pytest.mark.parametrize("window", [Window(9, 12, 18), None])
def test_loosening_and_leaving_out_need_the_authoritys_consent(scene, adoption, window):
    wish = {"actor": scene.owner, "adoption": adoption, "requirement": row("N25-17")}
    with pytest.raises(Refused, match="Note the authority's consent"):
        adopting.set_terms(**wish, starts_on=LATER, window=window)
    other = OrganisationFactory(kind="authority")
    with pytest.raises(Refused, match="does not look after"):
        adopting.set_terms(
            **wish, starts_on=LATER, window=window, agreed=agreed(scene, authority=other)
        )
    assert not Terms.objects.exists()
    made = adopting.set_terms(**wish, starts_on=LATER, window=window, agreed=agreed(scene))
    assert made.consent.paper == "letter 12/2026"
    held = ruling(scene, "N25-17", LATER)
    assert held == ((row("N25-17"), window) if window else None)
    assert Change.objects.filter(model="schedule.Consent", verb="noted").count() == 1


def test_an_owner_cannot_be_looser_than_the_authoritys_own_terms(scene, programme):
    above = adopting.adopt(actor=scene.authority, programme=programme, starts_on=FROM)
    adopting.set_terms(
        actor=scene.authority,
        adoption=above,
        requirement=row("N25-17"),
        starts_on=FROM,
        window=HALF,
    )
    mine = adopting.adopt(actor=scene.owner, programme=programme, starts_on=FROM, site=scene.site)
    assert ruling(scene, "N25-17", LATER) == (row("N25-17"), HALF)
    with pytest.raises(Refused, match="consent"):
        adopting.set_terms(
            actor=scene.owner,
            adoption=mine,
            requirement=row("N25-17"),
            starts_on=FROM,
            window=YEARLY,
        )


def test_one_authority_cannot_consent_for_sites_of_another(scene, programme):
    SiteAuthorityFactory(site=SiteFactory(owner=scene.owner.organisation))
    adoption = adopting.adopt(actor=scene.owner, programme=programme, starts_on=FROM)
    with pytest.raises(Refused, match="every site"):
        adopting.set_terms(
            actor=scene.owner, adoption=adoption, requirement=row("N25-17"), starts_on=LATER,
            window=None, agreed=agreed(scene),
        )  # fmt: skip


def test_ending_needs_consent_where_an_authority_looks_after_the_site(scene, adoption):
    with pytest.raises(Refused, match="Note its consent"):
        adopting.end(actor=scene.owner, adoption=adoption, ends_on=LATER)
    adopting.end(actor=scene.owner, adoption=adoption, ends_on=LATER, agreed=agreed(scene))
    assert ruling(scene, "N25-17", LATER) == (row("N25-17"), YEARLY)
    assert ruling(scene, "N25-17", date(2026, 9, 2)) is None
    with pytest.raises(Refused, match="nothing is changed"):
        adopting.confirm(
            actor=scene.owner, adoption=adoption, requirements=[row("N25-25")],
            checked_against="it", today=LATER,
        )  # fmt: skip


def test_ending_is_free_where_no_authority_is_named(scene, programme):
    site = SiteFactory(owner=scene.owner.organisation)
    adoption = adopting.adopt(actor=scene.owner, programme=programme, starts_on=FROM, site=site)
    assert adopting.end(actor=scene.owner, adoption=adoption, ends_on=LATER).ends_on == LATER


@pytest.mark.parametrize(
    ("window", "sentence"),
    [
        (Window(0, 0, 0), "The interval is above 0"),
        (Window(0, 6, 13), "no wider than the interval"),
        (Window(7, 6, 8), "follow in this order"),
    ],
)
def test_bad_windows_are_refused_with_a_sentence_and_by_the_database(
    scene, adoption, window, sentence
):
    values = {"adoption": adoption, "requirement": row("N25-17"), "starts_on": LATER}
    with pytest.raises(Refused, match=sentence):
        adopting.set_terms(actor=scene.owner, **values, window=window)
    figures = {name: getattr(window, name) for name in ("interval", "earliest", "latest")}
    with pytest.raises(IntegrityError), transaction.atomic():
        Terms(**values, unit="months", **figures).save(by=scene.owner)


def test_days_out_of_order_are_refused_by_the_database(scene, programme):
    with pytest.raises(IntegrityError), transaction.atomic():
        Adoption.objects.create(
            by=scene.owner, programme=programme, adopter=scene.owner.organisation,
            starts_on=LATER, ends_on=FROM,
        )  # fmt: skip


# Who sees it ------------------------------------------------------------------------------------


def test_those_of_the_site_see_its_adoptions_and_strangers_none(scene, programme):
    adopting.adopt(actor=scene.owner, programme=programme, starts_on=FROM, site=scene.site)
    adopting.adopt(actor=scene.owner, programme=programme, starts_on=FROM)
    adopting.adopt(actor=scene.authority, programme=programme, starts_on=FROM)
    for actor in (scene.owner, scene.contractor, scene.authority):
        assert Adoption.objects.visible_to(actor).count() == 3
    for kind in ("owner", "contractor", "authority"):
        stranger = actor_of(OrganisationFactory(kind=kind))
        assert not Adoption.objects.visible_to(stranger).exists()
