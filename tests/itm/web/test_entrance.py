"""Signing in, its second step, a new password by mail, and where one is signed in."""

import re
from datetime import timedelta

import pyotp
import pytest
import time_machine
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django.utils.html import escape

from itm.accounts import codes, entrance, second_factor
from itm.accounts.actor import acting
from itm.accounts.models import SignedIn, Try
from itm.accounts.sessions import NOTED_EVERY
from itm.core import outbox
from itm.web.entrance import PATIENCE
from tests.factories import PASSWORD, MembershipFactory

pytestmark = pytest.mark.django_db

WORDS = "three parts in a hundred"
FIREFOX = "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0"


@pytest.fixture
def member():
    return MembershipFactory()


def said(answer):
    return answer.content.decode()


def signing_in(client, member, password=PASSWORD, **more):
    given = {"username": member.user.email, "password": password}
    return client.post(reverse("sign_in"), given | more, headers={"user-agent": FIREFOX})


def inside(client):
    return "_auth_user_id" in client.session


def device_of(member, at):
    """Turns the second step on, and gives the codes on paper."""
    actor = acting(member, at.date(), at=at, proved=True)
    row = second_factor.begin(actor=actor, at=at)
    return row, second_factor.confirm(actor=actor, code=pyotp.TOTP(row.secret).at(at), at=at)


# Locking out -------------------------------------------------------------------------------------


def test_locked_account_refuses_the_right_password_and_says_so(client, member):
    for _ in range(entrance.MOST[Try.What.SIGN_IN][0]):
        assert "do not belong together" in said(signing_in(client, member, "wrong"))
    shut = signing_in(client, member)
    assert "Too many tries" in said(shut)
    assert member.user.email in said(shut)  # nothing typed is lost
    assert not inside(client)
    with time_machine.travel(timezone.now() + entrance.WINDOW + timedelta(minutes=1)):
        signing_in(client, member)
    assert inside(client)


def test_unknown_account_is_answered_like_a_known_one(client, member):
    answers = []
    for email in (member.user.email, "nobody@example.org"):
        page = Client()
        pages = [
            page.post(reverse("sign_in"), {"username": email, "password": "wrong"})
            for _ in range(entrance.MOST[Try.What.SIGN_IN][0] + 1)
        ]
        clear = [re.sub(r'value="[^"]*"', "", said(one)).replace(email, "") for one in pages]
        answers.append(clear)
    assert answers[0] == answers[1]
    assert "Too many tries" in answers[0][-1]


def test_what_was_sent_after_the_session_ended_is_not_dropped_in_silence(client, member):
    page = f"{reverse('sites')}?find=a&page=2"
    for send, told in ((client.post, True), (client.get, False)):
        answer = send(page)
        assert answer.status_code == 302
        shown = said(client.get(answer["Location"]))
        assert ("nothing was changed. If you typed something" in shown) is told
        assert f'value="{escape(page)}"' in shown  # and signing in leads back


def test_empty_form_is_no_try(client, member):
    for _ in range(10):
        client.post(reverse("sign_in"), {"username": member.user.email, "password": ""})
    assert not Try.objects.exists()


# A new password by mail --------------------------------------------------------------------------


def test_new_password_by_mail(client, member):
    page = Client()
    signing_in(page, member)
    asked = client.post(reverse("reset_ask"), {"email": member.user.email}, follow=True)
    unknown = client.post(reverse("reset_ask"), {"email": "nobody@example.org"}, follow=True)
    assert f"If there is an account with {member.user.email}, a mail is on its way" in said(asked)
    assert "If there is an account with nobody@example.org, a mail is on" in said(unknown)
    outbox.drain()
    [letter] = mail.outbox
    there = re.search(r"(/reset/\S+)", letter.body)[1]
    opened = client.get(there)
    assert opened.headers["X-Robots-Tag"] == "noindex, nofollow"
    differs = client.post(there, {"password": WORDS, "again": WORDS + "s"})
    assert "differs from the password above" in said(differs)
    page.get(there)  # the owner of the link may be signed in where it is opened
    done = page.post(there, {"password": WORDS, "again": WORDS}, follow=True)
    assert done.redirect_chain[-1][0] == reverse("sign_in")
    assert not inside(page)
    assert not SignedIn.objects.filter(user=member.user).exists()
    assert client.get(there).status_code == 404
    signing_in(client, member, WORDS)
    assert inside(client)


def test_link_that_is_over_says_why_and_how_to_go_on(client, member):
    got = client.get(reverse("reset", args=[member.user.key, "c0ffee-0123456789abcdef"]))
    assert got.status_code == 404
    assert "used already" in said(got)
    assert reverse("reset_ask") in said(got)


# The second step ---------------------------------------------------------------------------------


def test_second_step_is_asked_for_after_the_password(client, member):
    row, _ = device_of(member, timezone.now() - timedelta(hours=1))
    first = signing_in(client, member, next=reverse("sites"))
    assert first["Location"] == reverse("sign_in_code")
    assert not inside(client)
    assert client.get(reverse("sites")).status_code == 302  # half way is outside
    wrong = client.post(reverse("sign_in_code"), {"code": "000000"})
    assert wrong.status_code == 422
    assert "does not fit" in said(wrong)
    code = pyotp.TOTP(row.secret).at(timezone.now())
    right = client.post(reverse("sign_in_code"), {"code": f"{code[:3]} {code[3:]}"})
    assert right["Location"] == reverse("sites")
    assert inside(client)


def test_recovery_code_opens_once_and_its_person_is_told(client, member):
    _, paper = device_of(member, timezone.now())
    signing_in(client, member)
    client.post(reverse("sign_in_code"), {"code": paper[0]})
    assert inside(client)
    again = Client()
    signing_in(again, member)
    assert again.post(reverse("sign_in_code"), {"code": paper[0]}).status_code == 422
    assert not inside(again)
    outbox.drain()
    assert any("recovery codes of your account was used" in one.body for one in mail.outbox)


def test_second_step_waits_ten_minutes_and_only_for_who_knew_the_password(client, member):
    row, _ = device_of(member, timezone.now() - timedelta(hours=1))
    assert client.get(reverse("sign_in_code"))["Location"] == reverse("sign_in")
    signing_in(client, member)
    with time_machine.travel(timezone.now() + PATIENCE + timedelta(seconds=1)):
        code = pyotp.TOTP(row.secret).at(timezone.now())
        late = client.post(reverse("sign_in_code"), {"code": code})
    assert late["Location"] == reverse("sign_in")
    assert not inside(client)


def test_second_step_is_turned_on_shown_once_and_ended(client, sign_in, member):
    actor = acting(member, timezone.now().date())
    page = sign_in(client, actor)
    assert "Off: the password alone" in said(page.get(reverse("second_factor")))
    page.post(reverse("second_factor_begin"))
    shown = said(page.get(reverse("second_factor_confirm")))
    row = second_factor.begun(actor)
    assert "<svg" in shown
    assert row.secret[:4] in shown
    wrong = page.post(reverse("second_factor_confirm"), {"code": "000000"})
    assert "look whether its clock is right" in said(wrong)
    assert "<svg" in said(wrong)
    code = pyotp.TOTP(row.secret).at(timezone.now())
    done = said(page.post(reverse("second_factor_confirm"), {"code": code}, follow=True))
    paper = re.findall(r"<code>([A-Z2-7-]{19})</code>", done)
    assert len(paper) == second_factor.CODES
    again = said(page.get(reverse("second_factor")))
    assert paper[0] not in again
    assert f"still work: {second_factor.CODES}." in again
    renewed = said(page.post(reverse("second_factor_codes"), follow=True))
    assert paper[0] not in renewed
    page.post(reverse("second_factor_end"))
    assert codes.of(member.user) is None


def test_page_left_open_shows_no_secret_and_asks_for_the_password(client, sign_in, member):
    actor = acting(member, timezone.now().date(), proved=True)
    page = sign_in(client, actor)
    second_factor.begin(actor=actor, at=timezone.now())
    with time_machine.travel(timezone.now() + timedelta(minutes=6)):
        shut = page.get(reverse("second_factor_confirm"))
        assert shut["Location"] == reverse("second_factor_begin")
        assert "Your password" in said(page.get(reverse("second_factor_begin")))
        bare = page.post(reverse("second_factor_begin"), {"proof": "wrong"})
        assert "This is not your password" in said(bare)
        page.post(reverse("second_factor_begin"), {"proof": PASSWORD})
        assert "<svg" in said(page.get(reverse("second_factor_confirm")))


# Where one is signed in --------------------------------------------------------------------------


def test_browsers_are_listed_and_ended_one_or_all(client, member):
    for page in (client, second := Client(), third := Client()):
        signing_in(page, member)
    stranger = Client()
    signing_in(stranger, MembershipFactory())
    shown = said(client.get(reverse("sessions")))
    assert shown.count('<th scope="row">Firefox on Linux') == 3
    assert shown.count("this one") == 1
    for page in (client, second, third, stranger):
        assert page.session.session_key not in shown
    name = entrance.name_of(SignedIn.objects.get(session_key=second.session.session_key))
    assert "Signed out there: Firefox on Linux" in said(
        client.post(reverse("session_end", args=[name]), follow=True)
    )
    assert not inside(second)
    assert inside(third)
    assert "Signed out in 1 other browser." in said(
        client.post(reverse("sessions_end"), follow=True)
    )
    assert not inside(third)
    assert inside(client)
    assert inside(stranger)
    foreign = entrance.name_of(SignedIn.objects.get(session_key=stranger.session.session_key))
    assert client.post(reverse("session_end", args=[foreign])).status_code == 404
    assert inside(stranger)


def test_last_use_is_noted_every_ten_minutes_and_lets_the_session_live(client, member):
    signing_in(client, member)
    rows = SignedIn.objects.filter(user=member.user)
    first = rows.get()
    began = timezone.now()
    with time_machine.travel(began + NOTED_EVERY / 2):
        client.get(reverse("account"))
    assert rows.get().used_at == first.used_at
    with time_machine.travel(began + NOTED_EVERY + timedelta(seconds=5)):
        client.get(reverse("account"))
    later = rows.get()
    assert later.used_at > first.used_at
    assert later.expire_date > first.expire_date
    assert later.began_at == first.began_at


def test_changed_password_signs_every_other_browser_out(client, member):
    other = Client()
    signing_in(client, member)
    signing_in(other, member)
    given = {"password": WORDS, "again": WORDS}
    with time_machine.travel(timezone.now() + timedelta(minutes=6)):
        asked = client.post(reverse("password"), given)
        assert asked.status_code == 422
        assert "Your password" in said(asked)
        done = client.post(reverse("password"), given | {"proof": PASSWORD}, follow=True)
    assert "every other browser is signed out" in said(done)
    assert inside(client)
    assert client.get(reverse("account")).status_code == 200
    assert not SignedIn.objects.filter(session_key=other.session.session_key).exists()
    member.user.refresh_from_db()
    assert member.user.check_password(WORDS)
