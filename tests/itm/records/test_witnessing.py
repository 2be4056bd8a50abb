"""The signature of an authority that was there. That an authority may witness a test and sign for
it is common practice, no published source; digests are SHA-256 over RFC 8785 (JSON)."""

import hashlib
from dataclasses import replace
from datetime import timedelta

import pytest
import rfc8785
from django.db import DatabaseError, connection, transaction
from django.urls import reverse

from itm.core import triggers
from itm.core.errors import Conflict, Forbidden, Refused
from itm.records import chain, witnessing
from itm.records.models import Witness
from tests import deeds
from tests.checks import checked
from tests.factories import TODAY, MembershipFactory, OrganisationFactory, actor_of

SAYS = {"name": "Ines Prado", "qualification": "Inspector", "number": "A-12"}


@pytest.fixture
def sealed(scene):
    return deeds.tested(scene)


def signed(scene, record, **wrong):
    day = witnessing.day_of(record)
    given = {"present_on": day, "saw": ["bench", "discharge"], "at": record.sealed_at, **SAYS}
    actor = wrong.pop("actor", scene.authority)
    return witnessing.sign_as_witness(actor=actor, record=record, **{**given, **wrong})


def refused(code, deed):
    with pytest.raises(Refused) as refusal:
        deed()
    assert refusal.value.code == code


def test_signature_names_the_bytes_that_it_was_given_for(scene, sealed):
    """The digest by another hand: the library and hashlib over what the row says."""
    row = signed(scene, sealed)
    said = {
        "form": 1, "key": str(row.key), "record": sealed.seal.digest,
        "for": scene.authority.organisation_name, **SAYS, "saw": ["discharge", "bench"],
        "remark": "", "present_on": witnessing.day_of(sealed).isoformat(),
        "signed_at": witnessing.instant(row.signed_at),
    }  # fmt: skip
    assert row.digest == hashlib.sha256(rfc8785.dumps(said)).hexdigest()
    assert row.seen == [
        "the discharge and the catching of samples",
        "the standards and the readings",
    ]
    assert list(chain.verify()) == []


def test_only_an_authority_of_the_site_signs_and_only_a_sealed_record(scene, sealed):
    for actor in (scene.owner, scene.contractor):
        with pytest.raises(Forbidden):
            signed(scene, sealed, actor=actor)
    stale = replace(scene.authority, proved=False)
    refused("proof_needed", lambda: signed(scene, sealed, actor=stale))
    refused("nothing_seen", lambda: signed(scene, sealed, saw=[]))
    refused("nothing_seen", lambda: signed(scene, sealed, saw=["everything"]))
    early = witnessing.day_of(sealed) - timedelta(days=1)
    refused("before_record", lambda: signed(scene, sealed, present_on=early))
    late = sealed.sealed_at.date() + timedelta(days=2)
    refused("day_ahead", lambda: signed(scene, sealed, present_on=late))
    assert not Witness.objects.exists()
    signed(scene, sealed)


def test_unsealed_record_has_no_witness(scene):
    waiting = deeds.tested(scene, until="handed_in")
    day = witnessing.day_of(waiting)
    refused(
        "not_sealed",
        lambda: witnessing.sign_as_witness(
            actor=scene.authority, record=waiting, present_on=day, saw=["bench"],
            at=waiting.handed_in_at, **SAYS,
        ),
    )  # fmt: skip


def test_a_person_signs_once_and_a_colleague_beside_it(scene, sealed):
    row = signed(scene, sealed)
    with pytest.raises((Conflict, Refused)):
        signed(scene, sealed)
    colleague = MembershipFactory(organisation=scene.authority.organisation).user
    signed(scene, sealed, actor=replace(scene.authority, user=colleague), name="Another")
    witnessing.withdraw(actor=scene.authority, row=row, because="another test", at=sealed.sealed_at)
    again = signed(scene, sealed)
    rows = witnessing.witnesses_of(scene.owner, sealed)
    assert [one.withdrawn_at is None for one in rows] == [False, True, True]
    assert again in rows
    with pytest.raises(Forbidden):
        witnessing.withdraw(actor=scene.owner, row=again, because="no", at=sealed.sealed_at)


def test_a_check_is_witnessed_like_a_test_and_a_stranger_reads_nothing(scene):
    check = checked(scene, on=TODAY)
    signed(scene, check, saw=["bottles"])
    assert len(witnessing.witnesses_of(scene.contractor, check)) == 1
    assert witnessing.witnesses_of(actor_of(OrganisationFactory()), check) == []


@pytest.mark.parametrize(
    ("column", "value"), [("name", "'Somebody else'"), ("remark", "'x'"), ("digest", "'0'")]
)
def test_the_database_changes_no_signature(scene, sealed, column, value):
    row = signed(scene, sealed)
    table = Witness._meta.db_table
    for sql in (
        f"UPDATE {table} SET {column} = {value} WHERE id = %s",
        f"DELETE FROM {table} WHERE id = %s",
    ):
        with (
            pytest.raises(DatabaseError, match="itm:"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(sql, [row.pk])


def test_what_was_changed_past_the_guards_is_found_and_named(scene, sealed):
    row = signed(scene, sealed)
    with triggers.lifted(connection):
        Witness._base_manager.filter(pk=row.pk).update(saw=["papers"])
    (found,) = chain.verify()
    assert found.kind == "broken"
    assert "witness Ines Prado" in found.sentence


def test_inspector_signs_on_the_page_and_all_three_read_it(client, sign_in, scene, sealed):
    page = sign_in(client, scene.authority)
    there = reverse("test", args=[sealed.key])
    assert "Sign as a witness" in page.get(there).content.decode()
    form = reverse("test_witness", args=[sealed.key])
    day = witnessing.day_of(sealed).isoformat()
    answer = page.post(form, {**SAYS, "present_on": day, "remark": "Rain all day"})
    assert answer.status_code == 422
    said = answer.content.decode()
    assert "Say what you were present at." in said
    assert "Rain all day" in said
    page.post(form, {**SAYS, "present_on": day, "saw": ["discharge"], "remark": "Rain all day"})
    row = Witness.objects.get()
    shown = page.get(there).content.decode()
    assert "Sign as a witness" not in shown
    assert "Rain all day" in shown
    page.post(reverse("witness_withdraw", args=[row.key]), {"because": "the wrong record"})
    for who in (scene.owner, scene.contractor):
        said = sign_in(client, who).get(there).content.decode()
        assert "Ines Prado" in said
        assert "the wrong record" in said
        assert reverse("test_witness", args=[sealed.key]) not in said
