"""The door: how many tries it bears, and who is inside."""

from datetime import UTC, datetime, timedelta

import pytest

from itm.accounts import entrance
from itm.accounts.models import Try
from itm.core.errors import Refused

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)
MOST, MOST_OF_CALLER = entrance.MOST[Try.What.SIGN_IN]


def knock(email="ann@example.org", caller="192.0.2.1", at=NOW):
    return entrance.knock(email=email, caller=caller, at=at)


def test_account_is_locked_after_its_tries_from_wherever_they_come():
    for n in range(MOST):
        knock(caller=f"192.0.2.{n}")
    with pytest.raises(Refused, match="Try again in 15 minutes") as refusal:
        knock(caller="198.51.100.7")
    assert refusal.value.code == "too_many_tries"
    assert "asked for by mail" in refusal.value.sentence
    knock(email="bob@example.org")  # others are let try


def test_caller_is_locked_after_many_accounts():
    for n in range(MOST_OF_CALLER):
        knock(email=f"person{n}@example.org")
    with pytest.raises(Refused, match="Too many tries"):
        knock(email="one.more@example.org")
    knock(email="one.more@example.org", caller="198.51.100.7")


def test_capitals_and_blanks_make_no_second_account():
    for n in range(MOST):
        knock(email=("Ann@Example.org", " ann@example.org ")[n % 2])
    with pytest.raises(Refused):
        knock()


def test_lock_ends_with_the_time_whatever_is_tried_meanwhile():
    for n in range(MOST):
        knock(at=NOW + timedelta(minutes=n))
    for n in range(20):  # nothing that was refused is counted
        with pytest.raises(Refused):
            knock(at=NOW + timedelta(minutes=MOST, seconds=n))
    opens = NOW + entrance.WINDOW
    with pytest.raises(Refused, match="in 1 minute\\."):
        knock(at=opens - timedelta(seconds=1))
    knock(at=opens)
    with pytest.raises(Refused):  # the second try of the window still counts
        knock(at=opens + timedelta(seconds=1))


def test_who_gets_in_begins_anew():
    for _ in range(MOST - 1):
        knock()
    entrance.passed(knock())
    for _ in range(MOST):
        knock()


def test_reader_of_the_mail_is_let_try_again():
    for _ in range(MOST):
        knock()
    entrance.forgive("Ann@example.org")
    knock()


def test_each_door_counts_for_itself():
    for _ in range(MOST):
        knock()
    entrance.begin(what=Try.What.CODE, account="ann@example.org", caller="192.0.2.1", at=NOW)


def test_who_tried_stands_nowhere_in_the_clear():
    row = knock()
    kept = str(vars(row))
    assert "ann" not in kept
    assert "192.0.2" not in kept


def test_what_counts_no_more_is_forgotten():
    knock(at=NOW - entrance.WINDOW)
    recent = knock(at=NOW)
    for _ in range(2):  # may run twice
        entrance.tidy(NOW)
    assert list(Try.objects.all()) == [recent]


# What these browsers call themselves: from memory, shortened.
@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0",
         "Firefox on Linux"),
        ("Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) "
         "Chrome/140.0.0.0 Safari/537.36", "Chrome on Windows"),
        ("Mozilla/5.0 (Windows NT 10.0) AppleWebKit/537.36 Chrome/140.0 Safari/537.36 Edg/140.0",
         "Edge on Windows"),
        ("Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) AppleWebKit/605.1.15 Version/18.0 "
         "Mobile/15E148 Safari/604.1", "Safari on an iPhone"),
        ("Mozilla/5.0 (Linux; Android 15) AppleWebKit/537.36 Chrome/140.0 Mobile Safari/537.36",
         "Chrome on Android"),
        ("Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) AppleWebKit/605.1.15 Safari/605.1.15",
         "Safari on a Mac"),
        ("", "A browser that does not say which"),
        ("curl/8.0", "A browser that does not say which"),
    ],
)  # fmt: skip
def test_browser_is_told_in_words(said, words):
    assert entrance.browser_in_words(said) == words
