"""Files on lots and instruments: a lot or an instrument has no site, so they go where it goes."""

from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from itm.accounts.actor import system
from itm.core.errors import NotFound
from itm.registry import queries_attachments
from itm.registry.models import Attachment, ConcentrateLot, Instrument, Site
from tests.access.test_registry_scope import PEOPLE, World, settle
from tests.factories import (
    TODAY,
    AttachmentFactory,
    CertificateFactory,
    ConcentrateLotFactory,
    GrantFactory,
    InstrumentFactory,
    OrganisationFactory,
    actor_of,
)

# The lot stands in a tank of the site; "engaged" is the contractor whose instrument it is.
SEES = {
    "lot": {"own", "engaged", "authority"},
    "lot in no tank": {"own"},
    "instrument": {"engaged"},
    "certificate": {"engaged"},
}


@pytest.fixture
def files(db: None) -> tuple[World, dict[str, Attachment]]:
    world = settle(timezone.now().date())  # pages read the clock
    owner = world.people["own"].organisation
    instrument = world.rows[Instrument]
    keeper = instrument.organisation

    def file(by: Any, **on: Any) -> Attachment:
        return AttachmentFactory(site=None, organisation=by, **on)

    return world, {
        "lot": file(owner, lot=world.rows[ConcentrateLot]),
        "lot in no tank": file(owner, lot=ConcentrateLotFactory(owner=owner)),
        "instrument": file(keeper, instrument=instrument),
        "certificate": file(keeper, certificate=instrument.certificates.get()),
    }


@pytest.mark.parametrize("name", SEES)
def test_file_shows_to_whom_its_lot_or_instrument_shows(files: Any, name: str) -> None:
    world, rows = files
    row = rows[name]
    seen = {
        person
        for person, actor in world.people.items()
        if Attachment.objects.visible_to(actor).filter(pk=row.pk).exists()
    }
    assert seen == SEES[name]
    for person, actor in world.people.items():
        if person in seen:
            assert queries_attachments.file_to_serve(actor, row.key) == row
        else:
            with pytest.raises(NotFound):
                queries_attachments.file_to_serve(actor, row.key)
    assert not Attachment.objects.visible_to(system(TODAY)).exists()


def test_another_contractor_at_the_same_site_sees_no_file_of_the_instrument(files: Any) -> None:
    world, rows = files
    other = OrganisationFactory(kind="contractor")
    GrantFactory(site=world.rows[Site], organisation=other)
    seen = set(Attachment.objects.visible_to(actor_of(other)).values_list("pk", flat=True))
    assert rows["lot"].pk in seen
    assert seen.isdisjoint({rows["instrument"].pk, rows["certificate"].pk})


@pytest.mark.parametrize("name", SEES)
def test_file_is_served_and_listed_to_nobody_else(
    client: Client, sign_in: Any, files: Any, name: str
) -> None:
    world, rows = files
    url = f"/attachments/{rows[name].key}/file/"
    preview = f"/attachments/{rows[name].key}/preview/"
    for person in PEOPLE:
        page = sign_in(client, world.people[person])
        wanted = 200 if person in SEES[name] else 404
        assert (person, page.get(url).status_code) == (person, wanted)
        assert (person, page.get(preview).status_code) == (person, wanted)
        listed = url in page.get("/attachments/").content.decode()
        assert (person, listed) == (person, person in SEES[name])


def test_lists_of_lots_and_instruments_mix_no_files(files: Any) -> None:
    world, rows = files
    actor = world.people["engaged"]
    instrument = rows["instrument"].instrument
    assert set(queries_attachments.attachments_of(actor, instrument)) == {
        rows["instrument"],
        rows["certificate"],
    }
    other = InstrumentFactory(organisation=instrument.organisation)
    paper = CertificateFactory(instrument=other)
    assert queries_attachments.attachments_of(actor, other) == []
    assert queries_attachments.attachments_of(actor, paper) == []
    lot = rows["lot"].lot
    assert queries_attachments.attachments_of(world.people["own"], lot) == [rows["lot"]]
