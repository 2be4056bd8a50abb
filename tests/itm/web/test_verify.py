"""The public page behind the QR code."""

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from itm.core import triggers
from itm.records.models import ProportioningTest, Seal
from itm.reports.address import check_path, opens
from tests.deeds import amended, tested

# SHA-256 of the three bytes "abc", the example of FIPS 180-4: a digest, but of no record here.
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture
def sealed(scene: Any) -> ProportioningTest:
    return tested(scene)


def test_a_stranger_is_told_what_the_digest_belongs_to(
    scene: Any, sealed: ProportioningTest, client: Client
) -> None:
    answer = client.get(check_path(sealed.seal))
    shown = answer.content.decode()
    assert answer.status_code == 200
    for fact in (
        "belongs to a sealed record", scene.site.name, scene.system.name, scene.proportioner.tag,
        "15 Jun 2026", scene.contractor.organisation.name, sealed.seal.signer, "minimum", "design",
        "in band",
    ):  # fmt: skip
        assert fact in shown, fact
    assert answer["X-Robots-Tag"] == "noindex, nofollow"
    assert "no-cache" in answer["Cache-Control"]


def test_a_digest_alone_is_confirmed_and_opens_nothing(
    scene: Any, sealed: ProportioningTest, client: Client
) -> None:
    """Each report names the digest of the record before it, of whatever system and contractor."""
    digest, key = sealed.seal.digest, opens(bytes(sealed.seal.document))
    wrong = ("0" if key[0] != "0" else "1") + key[1:]
    for path in (
        reverse("verify", args=[digest]), reverse("verify_opened", args=[digest, wrong]),
    ):  # fmt: skip
        answer = client.get(path)
        shown = answer.content.decode()
        assert answer.status_code == 200
        assert "belongs to a sealed record" in shown
        assert "unchanged" in shown
        for fact in (
            scene.site.name, scene.system.name, scene.proportioner.tag, sealed.seal.signer,
            scene.contractor.organisation.name, "minimum", "in band", key,
        ):  # fmt: skip
            assert fact not in shown, fact
    assert f"“{wrong}” does not open this record" in shown


def test_a_digest_alone_tells_that_its_record_was_corrected(
    scene: Any, sealed: ProportioningTest, client: Client
) -> None:
    second = amended(sealed, scene)
    shown = client.get(reverse("verify", args=[sealed.seal.digest])).content.decode()
    assert "Corrected:" in shown
    assert opens(bytes(second.seal.document)) not in shown


def test_no_more_is_shown_than_the_result(sealed: ProportioningTest, client: Client) -> None:
    shown = client.get(check_path(sealed.seal)).content.decode()
    readings = [r for b in sealed.bench.bottles.all() for r in b.readings.all()]
    assert readings
    assert not [r.value_typed for r in readings if r.value_typed in shown]
    assert sealed.bench.instrument.serial_number not in shown
    assert sealed.visit.crew not in shown


def test_changed_bytes_are_told_and_nothing_of_them_is_shown(
    scene: Any, sealed: ProportioningTest, client: Client
) -> None:
    seal = sealed.seal
    forged = bytes(seal.document).replace(b'"in band"', b'"lean"')
    assert forged != bytes(seal.document)
    # Somebody who holds the database takes the guards away first.
    triggers.drop(connection)
    with connection.cursor() as cursor:
        table = Seal._meta.db_table
        cursor.execute(f"UPDATE {table} SET document = %s WHERE id = %s", [forged, seal.pk])
    triggers.lay(connection)
    shown = client.get(reverse("verify", args=[seal.digest])).content.decode()
    assert "has been changed after it was sealed" in shown
    assert scene.site.name not in shown


def test_an_unknown_digest_is_not_found_and_says_what_that_may_mean(
    sealed: ProportioningTest, client: Client
) -> None:
    answer = client.get(reverse("verify", args=[ABC]))
    assert answer.status_code == 404
    assert "not the digest of a record of this installation" in answer.content.decode()
    assert client.get(reverse("verify", args=["something"])).status_code == 404


def test_a_corrected_record_names_the_newest_correction(
    scene: Any, sealed: ProportioningTest, client: Client
) -> None:
    second = amended(sealed, scene)
    third = amended(second, scene)
    shown = client.get(check_path(sealed.seal)).content.decode()
    assert "Corrected:" in shown
    assert check_path(third.seal) in shown
    newest = client.get(check_path(third.seal)).content.decode()
    assert "Corrected:" not in newest
    assert check_path(second.seal) in newest  # what it corrects


@pytest.mark.parametrize(
    "typed",
    [
        "{0}",
        "  {1}\n",
        "{2}",
        "{3}",
        "http://127.0.0.1:8000/verify/{0}/",
        "{0}/{4}",
        "{1} {4}\n",
        "{2}{5}",
        "http://127.0.0.1:8000/verify/{0}/{4}/",
    ],
)
def test_a_digest_may_be_typed_as_people_type_it(
    sealed: ProportioningTest, client: Client, typed: str
) -> None:
    digest, key = sealed.seal.digest, opens(bytes(sealed.seal.document))
    groups = [digest[i : i + 8] for i in range(0, 64, 8)]
    text = typed.format(
        digest, " ".join(groups), digest.upper(), "\u2009".join(groups), key, key.upper()
    )
    answer = client.get(reverse("verify_form"), {"digest": text})
    opened = "{4}" in typed or "{5}" in typed
    to = check_path(sealed.seal) if opened else reverse("verify", args=[digest])
    assert (answer.status_code, answer["Location"]) == (302, to)


def test_an_address_in_capitals_leads_to_the_record(
    sealed: ProportioningTest, client: Client
) -> None:
    digest = sealed.seal.digest
    answer = client.get(reverse("verify", args=[digest.upper()]))
    assert answer["Location"] == reverse("verify", args=[digest])
    answer = client.get(check_path(sealed.seal).replace(digest, digest.upper()))
    assert answer["Location"] == check_path(sealed.seal)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "Type the digest that the report prints."),
        (ABC[:63], "These are 63 characters; a digest has 64"),
        (ABC[:10] + "o" + ABC[11:], "Character 11 is “o”; it may be a 0."),
        ("<b>" + ABC[:20], "Character 1 is “&lt;”."),
    ],
)
def test_a_slip_is_named_and_what_was_typed_stays(client: Client, typed: str, said: str) -> None:
    answer = client.get(reverse("verify_form"), {"digest": typed})
    shown = answer.content.decode()
    assert answer.status_code == 422
    assert said in shown
    assert typed.replace("<", "&lt;").replace(">", "&gt;") in shown


@pytest.mark.django_db
def test_the_form_is_open_to_everybody(client: Client) -> None:
    answer = client.get(reverse("verify_form"))
    assert answer.status_code == 200
    assert "Digest of the record" in answer.content.decode()
