"""A screen left open signs nothing: whoever signs shows who it is, unless that was just shown."""

from dataclasses import replace
from datetime import timedelta

import pyotp
import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from itm.accounts import second_factor
from itm.actions.sign import sign
from itm.core.errors import Refused
from itm.records.models import Seal
from tests import deeds
from tests.factories import PASSWORD

TYPED = {"name": "Rosa Brito", "qualification": "Engineer", "number": "7"}


@pytest.fixture
def waiting(scene):
    return deeds.tested(scene, until="handed_in")


def test_deed_itself_asks_for_the_proof_whatever_page_calls_it(scene, waiting):
    stale = replace(scene.contractor, proved=False)
    given = {"key": waiting.key, "at": waiting.handed_in_at, "name": "N", "qualification": "Q"}
    with pytest.raises(Refused) as refusal:
        sign(actor=stale, **given)
    assert (refusal.value.code, refusal.value.place) == ("proof_needed", "proof")
    assert not Seal.objects.exists()
    sign(actor=scene.contractor, **given)
    assert Seal.objects.count() == 1


def test_password_is_asked_for_after_five_minutes_and_nothing_typed_is_lost(
    client, scene, sign_in, waiting
):
    page = sign_in(client, scene.contractor)
    there = reverse("sign", args=[waiting.key])
    assert "Your password" not in page.get(there).content.decode()
    with time_machine.travel(timezone.now() + timedelta(minutes=6)):
        assert "Your password" in page.get(there).content.decode()
        for proof, sentence in (("", "field is required"), ("wrong", "not your password")):
            got = page.post(there, TYPED | {"proof": proof})
            said = got.content.decode()
            assert got.status_code == 422
            assert sentence in said
            assert 'value="Rosa Brito"' in said
            assert 'value="7"' in said
            assert 'value="wrong"' not in said
        assert not Seal.objects.exists()
        page.post(there, TYPED | {"proof": PASSWORD})
    assert Seal.objects.get().signer == "Rosa Brito"


def test_proof_hashes_nothing_anew_which_would_sign_its_person_out(
    client, scene, sign_in, waiting, settings
):
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.PBKDF2PasswordHasher"]
    page = sign_in(client, scene.contractor)
    with time_machine.travel(timezone.now() + timedelta(minutes=6)):
        page.post(reverse("sign", args=[waiting.key]), TYPED | {"proof": PASSWORD})
        assert page.get(reverse("account")).status_code == 200
    assert Seal.objects.count() == 1


def test_proof_holds_for_the_next_record_and_a_code_is_as_good(client, scene, sign_in, waiting):
    now = timezone.now()
    row = second_factor.begin(actor=scene.contractor, at=now)
    second_factor.confirm(actor=scene.contractor, code=pyotp.TOTP(row.secret).at(now), at=now)
    page = sign_in(client, scene.contractor)
    there = reverse("sign", args=[waiting.key])
    with time_machine.travel(now + timedelta(minutes=6)):
        code = pyotp.TOTP(row.secret).at(timezone.now())
        assert page.post(there, TYPED | {"qualification": "", "proof": code}).status_code == 422
        # The form was not complete, so the code is unspent.
        assert page.post(there, TYPED | {"proof": code}).status_code == 302
        assert Seal.objects.count() == 1
        assert 'name="proof"' not in page.get(reverse("password")).content.decode()
