"""What holds beyond the day is decided by a supervisor or manager, and a member is told so.

Which deeds these are: common practice, no published source. A member of the owner looks after the
equipment and notes; who works at a site, what is out of use and which rules count is answered for.
"""

from datetime import UTC, datetime, time

import pytest
from django.test import Client
from django.urls import reverse

from itm.actions.adopt import adopt, end
from itm.actions.oversee import end_oversight, name_authority, take_naming_back
from itm.actions.retire import retire, take_back
from itm.actions.settle_rows import confirm
from itm.core.errors import Forbidden
from itm.findings.clocks import adopt_clock, end_clock
from itm.findings.models import ClockAdoption, NoticeClock, OverdueRule
from itm.findings.overdue import end_overdue, say_overdue
from itm.registry.reassigning import reassign
from itm.registry.services import change_site, end_engagement, engage
from itm.schedule.adopting import Agreed
from itm.schedule.deciding import set_decision_rule
from itm.schedule.models import Adoption, Programme, Requirement
from tests.factories import TODAY, OrganisationFactory, actor_of

NOON = datetime.combine(TODAY, time(12), UTC)


def contractor():
    return OrganisationFactory(kind="contractor")


def clock():
    return NoticeClock.objects.get(code="commanders-at-72-hours")


def programme():
    return Programme.objects.get(code="us-nfpa25-foam-water")


def row_of(programme):
    return programme.requirements.get(code="N25-25")


def everywhere():
    return Requirement.objects.filter(programme__everywhere=True).earliest("pk")


def named(scene):
    return scene.site.site_authorities.get()


# Each makes what it needs as the manager of the scene, then does the one thing as `by`.
OWNERS = {
    "engage": lambda s: lambda by: engage(
        actor=by, site=s.site, organisation=contractor(), starts_on=TODAY
    ),
    "end an engagement": lambda s: lambda by: end_engagement(
        actor=by, grant=s.site.grants.get(), ends_on=TODAY
    ),
    "reassign": lambda s: lambda by: reassign(
        actor=by, leaves=s.contractor.organisation, follows=contractor(), starts_on=TODAY,
        sites=[s.site],
    ),
    "name an authority": lambda s: lambda by: name_authority(
        actor=by, site=s.site, organisation=OrganisationFactory(kind="authority"), scope="flag",
        today=TODAY,
    ),
    "take a naming back": lambda s: lambda by: take_naming_back(
        actor=by, row=named_today(s), today=TODAY
    ),
    "retire": lambda s: lambda by: retire(actor=by, row=s.proportioner, on=TODAY, today=TODAY),
    "take back into use": lambda s: lambda by: take_back(actor=by, row=retired(s), at=NOON),
    "adopt a programme": lambda s: lambda by: adopt(
        actor=by, programme=programme(), starts_on=TODAY, site=s.site
    ),
    "end a programme": lambda s: lambda by: end(
        actor=by, adoption=adopted(s), ends_on=TODAY, agreed=agreed(s)
    ),
    "confirm a row": lambda s: lambda by: confirm(
        actor=by, adoption=adopted(s), requirements=[row_of(programme())], checked_against="it",
        today=TODAY,
    ),
    "adopt a clock": lambda s: lambda by: adopt_clock(
        actor=by, clock=clock(), sites=[s.site], checked_against="it", at=NOON
    ),
    "end a clock": lambda s: lambda by: end_clock(actor=by, adoption=ticking(s), at=NOON),
    "say overdue": lambda s: lambda by: say_overdue(
        actor=by, site=s.site, requirement=everywhere(), severity=3, because="x", at=NOON
    ),
    "end overdue": lambda s: lambda by: end_overdue(actor=by, rule=said(s), at=NOON),
}  # fmt: skip
AUTHORITYS = {
    "adopt a programme": lambda s: (
        lambda by: adopt(actor=by, programme=programme(), starts_on=TODAY)
    ),
    "adopt a clock": OWNERS["adopt a clock"],
    "say overdue": OWNERS["say overdue"],
    "decide": lambda s: (
        lambda by: set_decision_rule(actor=by, verdict_probability=None, lean_probability=None)
    ),
    "let go": lambda s: lambda by: end_oversight(actor=by, row=named(s), ended_on=TODAY),
}


def named_today(scene):
    return name_authority(
        actor=scene.owner, site=scene.site, organisation=OrganisationFactory(kind="authority"),
        scope="flag", today=TODAY,
    )  # fmt: skip


def retired(scene):
    return retire(actor=scene.owner, row=scene.proportioner, on=TODAY, today=TODAY)


def adopted(scene):
    there = Adoption.objects.filter(site=scene.site).first()
    return there or adopt(
        actor=scene.owner, programme=programme(), starts_on=TODAY, site=scene.site
    )[0]  # fmt: skip


def agreed(scene):
    return Agreed(scene.authority.organisation, "ends today", "A. Person", TODAY, "letter 7")


def ticking(scene):
    there = ClockAdoption.objects.first()
    given = {"clock": clock(), "sites": [scene.site], "checked_against": "it", "at": NOON}
    return there or adopt_clock(actor=scene.owner, **given)[0]


def said(scene):
    there = OverdueRule.objects.first()
    return there or say_overdue(
        actor=scene.owner, site=scene.site, requirement=everywhere(), severity=3, because="x",
        at=NOON,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "name"), [*(("owner", n) for n in OWNERS), *(("authority", n) for n in AUTHORITYS)]
)
def test_a_supervisor_does_it_and_a_member_is_told_who_does(scene, kind, name):
    deed = {"owner": OWNERS, "authority": AUTHORITYS}[kind][name](scene)
    home = getattr(scene, kind).organisation
    with pytest.raises(Forbidden, match="Only a supervisor or manager can"):
        deed(actor_of(home, role="member"))
    deed(actor_of(home, role="supervisor"))


def test_a_member_looks_after_equipment_and_its_own_instrument_all_the_same(scene):
    member = actor_of(scene.owner.organisation, role="member")
    assert change_site(actor=member, site=scene.site, name="Another name").name == "Another name"
    crew = actor_of(scene.contractor.organisation, role="member")
    assert retire(actor=crew, row=scene.instrument, on=TODAY, today=TODAY).retired_on == TODAY
    assert take_back(actor=crew, row=scene.instrument, at=NOON).retired_on is None


@pytest.mark.parametrize("role", ["member", "supervisor"])
def test_pages_offer_it_to_whom_it_is_given(scene, sign_in, role):
    page = sign_in(Client(), actor_of(scene.owner.organisation, role=role))
    asked = {
        "site": ("site_retire", "grant_new", "grant_end", "site_authority_new"),
        "system": ("system_retire",), "tank": ("tank_retire",),
        "proportioner": ("proportioner_retire",),
    }  # fmt: skip
    for name, offered in asked.items():
        thing = getattr(scene, name)
        shown = page.get(reverse(name, args=[thing.key])).content.decode()
        assert reverse(f"{name}_edit", args=[thing.key]) in shown
        for one in offered:
            key = scene.site.grants.get().key if one == "grant_end" else thing.key
            assert (reverse(one, args=[key]) in shown) == (role == "supervisor"), one
