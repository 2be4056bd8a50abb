"""The second step: codes by RFC 6238, each taken once, and codes on paper."""

import io
from base64 import b32encode
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pyotp
import pytest
from django.core.management import CommandError, call_command

from itm.accounts import codes, entrance, second_factor
from itm.accounts.models import RecoveryCode, SecondFactor, Try
from itm.accounts.told import TOLD
from itm.core.errors import Forbidden, Refused
from itm.core.history import Change
from itm.core.outbox import Job
from tests.factories import OrganisationFactory, actor_of

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)

# RFC 6238, Appendix B: seconds since 1970 and code, for the secret "12345678901234567890" with
# SHA-1. The codes stand there with eight digits; six are the last six of them (RFC 4226, 5.3).
APPENDIX_B = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
]
SECRET = b32encode(b"12345678901234567890").decode()


@pytest.fixture
def actor():
    return actor_of(OrganisationFactory())


def on(actor, at=NOW):
    row = second_factor.begin(actor=actor, at=at)
    return row, second_factor.confirm(actor=actor, code=device(row, at), at=at)


def device(row, at):
    return pyotp.TOTP(row.secret).at(at)


@pytest.mark.parametrize(("seconds", "code"), APPENDIX_B)
def test_codes_are_those_of_the_standard(actor, seconds, code):
    row = SecondFactor.objects.create(
        user=actor.user, secret=SECRET, begun_at=NOW, confirmed_at=NOW
    )
    at = datetime.fromtimestamp(seconds, UTC)
    wrong = f"{(int(code[2:]) + 1) % 10**6:06}"
    assert not codes.is_of_device(row, wrong, at)
    assert codes.is_of_device(row, code[2:], at)


def test_code_is_taken_once(actor):
    row, _ = on(actor)
    later = NOW + timedelta(minutes=1)
    code = device(row, later)
    assert codes.fits(actor.user, code, later)
    assert not codes.fits(actor.user, code, later + timedelta(seconds=5))
    assert not codes.fits(actor.user, device(row, NOW), later)  # nor the one before it


@pytest.mark.parametrize(("seconds", "fits"), [(-60, False), (-30, True), (30, True), (60, False)])
def test_slow_hands_and_clocks_are_borne_by_one_step(actor, seconds, fits):
    row, _ = on(actor)
    later = NOW + timedelta(hours=1)
    assert codes.fits(actor.user, device(row, later + timedelta(seconds=seconds)), later) is fits


def test_nothing_counts_before_a_first_code_was_typed(actor):
    row = second_factor.begin(actor=actor, at=NOW)
    assert codes.of(actor.user) is None
    assert not codes.fits(actor.user, device(row, NOW), NOW)
    with pytest.raises(Refused, match="does not fit"):
        second_factor.confirm(actor=actor, code="000000", at=NOW)
    assert second_factor.begin(actor=actor, at=NOW).secret == row.secret
    second_factor.confirm(actor=actor, code=device(row, NOW), at=NOW)
    assert codes.of(actor.user) == row
    with pytest.raises(Refused, match="on already"):
        second_factor.begin(actor=actor, at=NOW)


def test_code_on_paper_is_taken_once_with_and_without_its_dashes(actor):
    _, paper = on(actor)
    assert len(set(paper)) == second_factor.CODES
    for typed in (paper[0], paper[1].lower().replace("-", " ")):
        assert codes.fits(actor.user, typed, NOW)
        assert not codes.fits(actor.user, typed, NOW)
    assert codes.codes_left(codes.of(actor.user)) == second_factor.CODES - 2
    kept = str(list(RecoveryCode.objects.values())) + str(list(Change.objects.values()))
    assert [one for one in paper if one in kept or one.replace("-", "") in kept] == []


def test_new_codes_end_those_before(actor):
    _, before = on(actor)
    after = second_factor.new_codes(actor=actor)
    assert not codes.fits(actor.user, before[0], NOW)
    assert codes.fits(actor.user, after[0], NOW)


def test_codes_of_another_person_fit_nothing(actor):
    other = actor_of(OrganisationFactory())
    row, paper = on(actor)
    later = NOW + timedelta(hours=1)
    assert not codes.fits(other.user, paper[0], later)
    on(other)
    assert not codes.fits(other.user, paper[0], later)
    assert not codes.fits(other.user, device(row, later), later)


def test_ended_it_asks_for_nothing_and_its_person_is_told(actor):
    on(actor)
    second_factor.end(actor=actor)
    assert codes.of(actor.user) is None
    told = Job.objects.filter(kind="send_told").order_by("pk").values_list("payload", flat=True)
    assert [one["what"] for one in told] == ["second_step_on", "second_step_off"]
    assert {one["what"] for one in told} <= set(TOLD)
    lines = Change.objects.filter(object_key=actor.user.key).order_by("pk")
    assert [line.verb for line in lines][-2:] == ["second step on", "second step off"]
    with pytest.raises(Refused, match="is off"):
        second_factor.end(actor=actor)


def test_each_deed_wants_a_proof(actor):
    stale = replace(actor, proved=False)
    for deed in (
        lambda: second_factor.begin(actor=stale, at=NOW),
        lambda: second_factor.confirm(actor=stale, code="000000", at=NOW),
        lambda: second_factor.new_codes(actor=stale),
        lambda: second_factor.end(actor=stale),
    ):
        with pytest.raises(Refused) as refusal:
            deed()
        assert refusal.value.code == "proof_needed"
    with pytest.raises(Forbidden):
        second_factor.begin(actor=replace(actor, user=None), at=NOW)


def test_codes_cannot_be_guessed_by_trying(actor):
    on(actor)
    most, _ = entrance.MOST[Try.What.CODE]
    later = NOW + timedelta(hours=1)

    def guess(code):
        entrance.second_step(user=actor.user, code=code, caller="192.0.2.1", at=later)

    for n in range(most):
        with pytest.raises(Refused) as refusal:
            guess(f"ABCD-{n}")
        assert refusal.value.code == "code_wrong"
    with pytest.raises(Refused) as refusal:
        guess(device(codes.of(actor.user), later))
    assert (refusal.value.code, refusal.value.place) == ("too_many_tries", "code")


def test_whoever_runs_the_installation_ends_it_for_who_lost_all(actor):
    on(actor)
    out = io.StringIO()
    call_command("end_second_step", actor.user.email.upper(), stdout=out)
    assert f"The second step of {actor.person} is off." in out.getvalue()
    assert codes.of(actor.user) is None
    line = Change.objects.filter(object_key=actor.user.key).last()
    assert (line.verb, line.person, line.via) == ("second step off", "the system", "command")
    for email, words in ((actor.user.email, "is off"), ("nobody@example.org", "Nobody here")):
        with pytest.raises(CommandError, match=words):
            call_command("end_second_step", email, stdout=out)
