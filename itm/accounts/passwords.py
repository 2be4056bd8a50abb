"""A new password: changed by its person, or set by whoever reads the mail of the account.

The link of the mail is Django's own: signed over the password and the last sign-in, so that it
works once, ends with the next sign-in, and rests in no row. Whether an account exists is told to
nobody: the same is answered, and the same work is promised, for every address.
"""

from datetime import datetime
from uuid import UUID, uuid4

from django.conf import settings
from django.contrib.auth.tokens import default_token_generator
from django.db import transaction
from django.template.loader import render_to_string

from itm.accounts import entrance, proving
from itm.accounts.actor import Actor, oneself
from itm.accounts.models import Try, User
from itm.accounts.services import require_good
from itm.accounts.told import tell
from itm.core import history, letters, outbox
from itm.core.errors import Forbidden, NotFound


@transaction.atomic
def ask(*, email: str, caller: str, at: datetime) -> None:
    """Promises a mail where there is such an account. Raises Refused too_many_tries."""
    entrance.begin(what=Try.What.RESET, account=email, caller=caller, at=at)
    user = User.objects.filter(email__iexact=email.strip(), is_active=True).first()
    outbox.add("send_reset", user_key=str(user.key) if user else "", mail=str(uuid4()))


def send_reset(user_key: str, mail: str) -> None:
    """The promised job. Run twice it sends the same Message-ID twice, and both links work once."""
    if not user_key:
        return
    user = User.objects.get(key=UUID(user_key))
    token = default_token_generator.make_token(user)
    context = {
        "user": user,
        "link": letters.address("reset", user.key, token),
        "minutes": settings.PASSWORD_RESET_TIMEOUT // 60,
    }
    letters.send(
        to=user.email, subject="A new password for Foam ITM",
        body=render_to_string("mail/reset.txt", context), name=f"reset.{user.key}.{mail}",
    )  # fmt: skip


def holder(key: UUID, token: str) -> User:
    """Whose password the link of a mail sets. Raises NotFound for one that is over."""
    user = User.objects.filter(key=key, is_active=True).first()
    if user is None or not default_token_generator.check_token(user, token):
        raise NotFound("link", "")
    return user


@transaction.atomic
def set_anew(*, key: UUID, token: str, password: str, at: datetime) -> User:
    """Lifts a lock that others may have caused, and signs every browser out. What else works
    without a session: `actions.reset_password` ends it, and is what pages call.

    Works once: the person is held, so the second of two at one moment finds the link over.
    Raises NotFound; Refused not_valid.
    """
    User.objects.select_for_update().filter(key=key).first()
    user = holder(key, token)
    _write(user, password, by=oneself(user, at), what="password_set")
    entrance.end_sessions(user=user)
    entrance.forgive(user.email)
    return user


@transaction.atomic
def change(*, actor: Actor, password: str, session_key: str | None) -> User:
    """By its person, who proved it; every other browser is signed out.

    Raises Forbidden; Refused proof_needed, not_valid.
    """
    if actor.user is None:
        raise Forbidden("Only a person has a password.")
    proving.require(actor)
    _write(actor.user, password, by=actor, what="password_changed")
    entrance.end_sessions(user=actor.user, but=session_key)
    return actor.user


def _write(user: User, password: str, *, by: Actor, what: str) -> None:
    require_good(password, user)
    user.set_password(password)
    user.save(update_fields=["password"])
    history.note(by, what.replace("_", " "), of=user)
    tell(user, what)
