"""Links for readers: what they open, to whom and until when, and that they open nothing else."""

from datetime import timedelta

import pytest
from django.apps import apps
from django.utils import timezone

from itm.accounts import entrance
from itm.accounts.digests import digest_of
from itm.accounts.models import Try
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.history import Change
from itm.records.models import ConcentrateCheck, ProportioningTest
from itm.registry import links
from itm.registry.access import Scoped
from itm.registry.models import LinkUse, ReadLink, Site
from itm.schedule.models import Duty
from tests import deeds
from tests.factories import OrganisationFactory, SiteFactory, actor_of

pytestmark = pytest.mark.django_db

# What may be read under a link, and no other model: sites, what is due there, what is wrong there,
# and sealed records.
OPENED = {"registry.Site", "schedule.Duty", "findings.Deficiency", "records.ProportioningTest",
          "records.ConcentrateCheck", "findings.Impairment"}  # fmt: skip


@pytest.fixture
def owner():
    return actor_of(OrganisationFactory(), today=timezone.now().date())


def made(owner, sites, **values):
    now = timezone.now()
    given = {"name": "an insurer", "ends_on": now.date(), "at": now} | values
    return links.make(actor=owner, sites=sites, **given)


def reader(secret, caller="192.0.2.1", now=None):
    return links.reader_of(secret, caller=caller, now=now or timezone.now())


def models_with_a_site():
    return [model for model in apps.get_models() if issubclass(model, Scoped)]


def test_no_other_model_is_opened_by_a_link():
    assert {model._meta.label for model in models_with_a_site() if model.open_by_link} == OPENED


def test_link_reads_of_its_sites_alone(scene):
    deeds.tested(scene)
    deeds.tested(scene, until="handed_in")
    other = SiteFactory(owner=scene.owner.organisation)
    _, secret = made(scene.owner, [scene.site])
    _, elsewhere = made(scene.owner, [other], name="another")
    mine, others = reader(secret).actor, reader(elsewhere).actor
    assert list(Site.objects.visible_to(mine)) == [scene.site]
    assert [test.state for test in ProportioningTest.objects.visible_to(mine)] == ["sealed"]
    assert Duty.objects.visible_to(mine).exists()
    assert not ConcentrateCheck.objects.visible_to(mine).exists()
    assert list(Site.objects.visible_to(others)) == [other]
    for model in models_with_a_site():
        if model is not Site:
            assert not model.objects.visible_to(others).exists(), model


def test_nothing_else_of_its_site_is_seen(scene):
    deeds.tested(scene)
    _, secret = made(scene.owner, [scene.site])
    actor = reader(secret).actor
    seen, there = set(), set()
    for model in apps.get_models():
        rows = getattr(model, "objects", None)
        if rows is None or not hasattr(rows.all(), "visible_to"):
            continue
        if rows.all().exists():
            there.add(model._meta.label)
        if rows.all().visible_to(actor).exists():
            seen.add(model._meta.label)
    assert {"records.Visit", "registry.Tank", "registry.Instrument", "records.Seal"} <= there
    assert seen <= OPENED


def test_secret_is_kept_nowhere(owner):
    site = SiteFactory(owner=owner.organisation)
    row, secret = made(owner, [site])
    assert row.digest == digest_of(secret)
    kept = str(list(ReadLink.objects.values())) + str(list(Change.objects.values()))
    assert secret not in kept
    assert row.digest not in str(list(Change.objects.values()))
    assert f"opens {site.name}" in str(list(Change.objects.values("note")))


def test_link_opens_until_its_day_and_not_beyond(owner):
    row, secret = made(owner, [SiteFactory(owner=owner.organisation)])
    end = timezone.now().replace(hour=23, minute=59, second=59)
    assert reader(secret, now=end).link == row
    with pytest.raises(Refused) as refusal:
        reader(secret, now=end + timedelta(seconds=2))
    assert refusal.value.code == "link_ran_out"


def test_revoked_link_opens_nothing(owner):
    row, secret = made(owner, [SiteFactory(owner=owner.organisation)])
    for _ in range(2):  # may run twice
        links.revoke(actor=owner, row=row, at=timezone.now())
    with pytest.raises(Refused) as refusal:
        reader(secret)
    assert refusal.value.code == "link_revoked"
    assert [line.verb for line in links.changes(row)] == ["created", "revoked"]


def test_site_that_changed_hands_is_opened_no_more(owner):
    kept, sold = (SiteFactory(owner=owner.organisation) for _ in range(2))
    _, secret = made(owner, [kept, sold])
    sold.owner = OrganisationFactory()
    sold.save(by=owner)
    assert list(Site.objects.visible_to(reader(secret).actor)) == [kept]
    kept.owner = sold.owner
    kept.save(by=owner)
    assert list(Site.objects.visible_to(reader(secret).actor)) == []


def test_uses_are_counted_and_listed(owner):
    row, secret = made(owner, [SiteFactory(owner=owner.organisation)])
    for what in ("All sites", "Record 3"):
        links.note_use(reader(secret), what, timezone.now())
    assert [use.what for use in links.uses(row)] == ["Record 3", "All sites"]
    found = links.link(owner, row.key)
    assert found.used == 2
    assert found.last_used_at == LinkUse.objects.latest("pk").at


def test_links_cannot_be_found_by_trying(owner):
    _, secret = made(owner, [SiteFactory(owner=owner.organisation)])
    now = timezone.now()
    _, most = entrance.MOST[Try.What.LINK]
    for n in range(most):
        with pytest.raises(NotFound):
            reader(f"guess {n}", now=now)
    with pytest.raises(Refused) as refusal:
        reader(secret, now=now)
    assert refusal.value.code == "too_many_tries"
    reader(secret, caller="198.51.100.1", now=now)  # others read on


@pytest.mark.parametrize(
    ("values", "code", "place"),
    [
        ({"sites": []}, "no_sites", "sites"),
        ({"days": -1}, "ends_early", "ends_on"),
        ({"days": 367}, "ends_late", "ends_on"),
        ({"name": " "}, "not_valid", "name"),
    ],
)
def test_what_is_wrong_is_refused(owner, values, code, place):
    site, values = SiteFactory(owner=owner.organisation), dict(values)
    if days := values.pop("days", 0):
        values["ends_on"] = timezone.now().date() + timedelta(days=days)
    with pytest.raises(Refused) as refusal:
        made(owner, **{"sites": [site]} | values)
    assert (refusal.value.code, refusal.value.place) == (code, place)
    assert not ReadLink.objects.exists()


def test_a_name_stands_for_one_link(owner):
    site = SiteFactory(owner=owner.organisation)
    row, _ = made(owner, [site])
    with pytest.raises(Refused, match="link of that name"):
        made(owner, [site], name="AN INSURER")
    links.revoke(actor=owner, row=row, at=timezone.now())
    made(owner, [site])


def test_only_a_manager_of_the_owner_makes_one_for_own_sites(owner):
    site = SiteFactory(owner=owner.organisation)
    row, _ = made(owner, [site])
    for role in ("member", "supervisor"):
        other = actor_of(owner.organisation, role=role, today=owner.today)
        with pytest.raises(Forbidden):
            made(other, [site], name="x")
        with pytest.raises(Forbidden):
            links.link(other, row.key)
    for kind in ("contractor", "authority"):
        with pytest.raises(Forbidden):
            made(actor_of(OrganisationFactory(kind=kind), today=owner.today), [site], name="x")
    stranger = actor_of(OrganisationFactory(), today=owner.today)
    with pytest.raises(Forbidden):
        made(stranger, [site], name="x")
    with pytest.raises(NotFound):
        links.link(stranger, row.key)
