"""What every test may use. The clock is an argument; nothing inside the product is mocked."""

import gc
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.core.cache import cache
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, connections
from django.test import Client, TransactionTestCase
from django.utils import timezone
from hypothesis import settings as laws

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core import triggers
from itm.registry.models import FoamSystem, Instrument, Proportioner, Site, Tank
from itm.web.proving import PROVED
from tests import migrated
from tests.factories import (
    ConcentrateLotFactory,
    FoamSystemFactory,
    GrantFactory,
    InstrumentFactory,
    OrganisationFactory,
    ProportionerFactory,
    SiteAuthorityFactory,
    SiteFactory,
    TankFactory,
    TankFillFactory,
    actor_of,
)

# The seeds of every law are fixed, and no machine is too slow for one.
laws.register_profile("fixed", derandomize=True, deadline=None, max_examples=100, database=None)
laws.load_profile("fixed")


def pytest_collection_finish() -> None:
    """What is loaded by now stays until the end, so looking for what could go is done without it,
    and less often: that was an eighth of a run."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 50, 100)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None,
) -> Iterator[None]:
    """What pytest-django asks for just before it makes the database."""
    with migrated.begun_from(migrated.copy()):
        yield


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> None:
    """And what it does then, before the first test writes anything."""
    with django_db_blocker.unblock():
        migrated.keep(migrated.copy())


@pytest.fixture(autouse=True, scope="session")
def _flush_lifts_the_guards() -> Iterator[None]:
    """Emptying the tables between transactional tests is the one thing the guards must let pass."""
    flush = TransactionTestCase._fixture_teardown

    def lifted_flush(self: TransactionTestCase) -> None:
        names = list(self._databases_names(include_mirrors=False))
        for name in names:
            triggers.drop(connections[name])
        flush(self)
        for name in names:
            triggers.lay(connections[name])

    TransactionTestCase._fixture_teardown = lifted_flush  # type: ignore[method-assign]
    yield
    TransactionTestCase._fixture_teardown = flush  # type: ignore[method-assign]


@pytest.fixture
def one_connection() -> Iterator[None]:
    """For a test that serves requests inside its own transaction: the end of a request closes the
    connection there, which PostgreSQL does not survive."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture(autouse=True)
def _embedded(settings, tmp_path) -> None:
    """No thread, no broker, nothing counted yet, files in a folder of the test's own."""
    cache.clear()
    settings.OUTBOX_NUDGE = "none"
    settings.PASSWORD_HASHERS = ["tests.hashing.Quick"]
    settings.MEDIA_ROOT = tmp_path / "files"
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"


@dataclass(frozen=True)
class Scene:
    """One site with one system, and the three people who look at it."""

    owner: Actor
    contractor: Actor
    authority: Actor
    site: Site
    system: FoamSystem
    tank: Tank
    proportioner: Proportioner
    instrument: Instrument


@pytest.fixture
def scene(db: None) -> Scene:
    return new_scene()


def new_scene() -> Scene:
    owner = OrganisationFactory(kind=Organisation.Kind.OWNER)
    contractor = OrganisationFactory(kind=Organisation.Kind.CONTRACTOR)
    authority = OrganisationFactory(kind=Organisation.Kind.AUTHORITY)
    site = SiteFactory(owner=owner)
    GrantFactory(site=site, organisation=contractor)
    SiteAuthorityFactory(site=site, organisation=authority)
    system = FoamSystemFactory(site=site)
    tank = TankFactory(site=site)
    TankFillFactory(tank=tank, lot=ConcentrateLotFactory(owner=owner))
    return Scene(
        owner=actor_of(owner),
        contractor=actor_of(contractor),
        authority=actor_of(authority),
        site=site,
        system=system,
        tank=tank,
        proportioner=ProportionerFactory(system=system, tank=tank),
        instrument=InstrumentFactory(organisation=contractor),
    )


@pytest.fixture
def sign_in(client: Client) -> Callable[[Client, Actor], Client]:
    """Sign a person in and act for the organisation of the actor."""

    def enter(client: Client, actor: Actor) -> Client:
        client.force_login(actor.user)
        membership = actor.user.memberships.get(organisation=actor.organisation)
        session = client.session
        session["membership"] = str(membership.key)
        session[PROVED] = timezone.now().isoformat()
        session.save()
        return client

    return enter
