"""The door: how many tries it bears, and who is inside.

A try is written before it is judged, so that a hundred at one moment count as a hundred. What was
tried is counted by account and by caller, for accounts that there are and for those that there are
not, and the answer is the same for both.
"""

import hashlib
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import QuerySet
from django.utils.crypto import salted_hmac

from itm.accounts import codes
from itm.accounts.models import SignedIn, Try, User
from itm.accounts.sessions import SessionStore
from itm.core.errors import NotFound, Refused

WINDOW = timedelta(minutes=15)  # own choice, as the figures below
# Of one account, and of one caller, behind whom a whole site office may sit.
MOST: dict[str, tuple[int, int]] = {
    Try.What.SIGN_IN: (5, 30),
    Try.What.CODE: (5, 30),
    Try.What.PROOF: (5, 30),
    Try.What.RESET: (3, 20),
    Try.What.LINK: (600, 300),
}
WAY_OUT = {
    Try.What.SIGN_IN: " A new password, asked for by mail, opens the door at once.",
}


def begin(*, what: str, account: str, caller: str, at: datetime) -> Try:
    """Counts one more try; what is refused here is not counted, so that it ends. Raises Refused
    too_many_tries."""
    row = Try.objects.create(
        what=what, account=_digest(account.strip().lower()), caller=_digest(caller), at=at
    )
    recent = Try.objects.filter(what=what, at__gt=at - WINDOW).exclude(pk=row.pk).order_by("-at")
    for column, most in zip(("account", "caller"), MOST[what], strict=True):
        times = recent.filter(**{column: getattr(row, column)}).values_list("at", flat=True)
        if oldest := list(times[most - 1 : most]):
            row.delete()
            minutes = max(1, -(-(oldest[0] + WINDOW - at) // timedelta(minutes=1)))
            raise Refused(
                "too_many_tries",
                f"Too many tries within {WINDOW.seconds // 60} minutes. Try again in {minutes} "
                f"minute{'' if minutes == 1 else 's'}.{WAY_OUT.get(Try.What(what), '')}",
            )
    return row


def knock(*, email: str, caller: str, at: datetime) -> Try:
    """Before a password is looked at. Raises Refused too_many_tries."""
    return begin(what=Try.What.SIGN_IN, account=email, caller=caller, at=at)


def passed(row: Try) -> None:
    """It was right: what was tried before for this account counts no more."""
    Try.objects.filter(what=row.what, account=row.account).delete()


def forgive(account: str) -> None:
    """Whoever reads the mail of the account is let try again, whatever others have tried."""
    Try.objects.filter(account=_digest(account.strip().lower())).delete()


def person(key: UUID) -> User:
    """Who typed the right password, and is still let in. Raises NotFound."""
    user = User.objects.filter(key=key, is_active=True).first()
    if user is None:
        raise NotFound("person", key)
    return user


def second_step(*, user: User, code: str, caller: str, at: datetime) -> None:
    """Raises Refused code_wrong, too_many_tries."""
    try:
        knock = begin(what=Try.What.CODE, account=user.email, caller=caller, at=at)
    except Refused as refusal:
        raise Refused(refusal.code, refusal.sentence, "code") from refusal
    if not codes.fits(user, code, at):
        raise Refused(
            "code_wrong",
            "This code does not fit, or was used already. Take the one that the device shows now.",
            "code",
        )
    passed(knock)


def _digest(text: str) -> str:
    return salted_hmac("itm.accounts.entrance", text, algorithm="sha256").hexdigest()


# Who is inside -----------------------------------------------------------------------------------

BROWSERS = (
    ("Edg", "Edge"), ("OPR/", "Opera"), ("Firefox/", "Firefox"), ("FxiOS/", "Firefox"),
    ("CriOS/", "Chrome"), ("Chrome/", "Chrome"), ("Safari/", "Safari"),
)  # fmt: skip
MACHINES = (
    ("Android", "Android"), ("iPhone", "an iPhone"), ("iPad", "an iPad"), ("Windows", "Windows"),
    ("Mac OS X", "a Mac"), ("CrOS", "ChromeOS"), ("Linux", "Linux"),
)  # fmt: skip


def browser_in_words(said: str) -> str:
    """What a browser calls itself, for a person. The order matters: most claim to be others too."""
    browser = next((name for mark, name in BROWSERS if mark in said), "")
    machine = next((name for mark, name in MACHINES if mark in said), "")
    if not browser and not machine:
        return "A browser that does not say which"
    return f"{browser or 'A browser'} on {machine}" if machine else browser


def name_of(row: SignedIn) -> str:
    """How a page may name a session whose key is a secret."""
    return hashlib.sha256(row.session_key.encode()).hexdigest()[:32]


def sessions(user: User, now: datetime) -> QuerySet[SignedIn]:
    """Where this person is signed in, the latest use first."""
    return SignedIn.objects.filter(user=user, expire_date__gt=now).order_by("-used_at")


def end_session(*, user: User, name: str, now: datetime) -> SignedIn:
    """Raises NotFound."""
    row = next((one for one in sessions(user, now) if name_of(one) == name), None)
    if row is None:
        raise NotFound("session", name)
    row.delete()
    return row


def end_sessions(*, user: User, but: str | None = None) -> int:
    """All of this person, or all but the one with this key; how many. May run twice."""
    return SignedIn.objects.filter(user=user).exclude(session_key=but or "").delete()[0]


def tidy(now: datetime) -> None:
    """What is over: sessions that ran out, tries that count no more. May run twice."""
    SessionStore.clear_expired()
    Try.objects.filter(at__lte=now - WINDOW).delete()
