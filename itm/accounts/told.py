"""A word to a person about its own account, in case it was somebody else."""

from uuid import UUID, uuid4

from django.template.loader import render_to_string
from django.utils import timezone

from itm.accounts.models import User
from itm.core import letters, outbox

TOLD = {
    "password_set": "The password of your account was set anew by a link sent to this address, "
    "and every browser was signed out.",
    "password_changed": "The password of your account was changed by somebody who was signed in, "
    "and every other browser was signed out.",
    "second_step_on": "From now on your account asks for a code besides the password.",
    "second_step_off": "Your account no longer asks for a code: the password alone lets in.",
    "recovery_code_used": "One of the recovery codes of your account was used, in place of a code "
    "of your device.",
}


def tell(user: User, what: str) -> None:
    """Promise the mail, inside the transaction of the deed."""
    outbox.add("send_told", user_key=str(user.key), what=what, mail=str(uuid4()))


def send_told(user_key: str, what: str, mail: str) -> None:
    """The promised job. Run twice it sends the same Message-ID twice."""
    user = User.objects.get(key=UUID(user_key))
    context = {"sentence": TOLD[what], "now": timezone.now(), "link": letters.address("reset_ask")}
    letters.send(
        to=user.email, subject="Your account at Foam ITM",
        body=render_to_string("mail/told.txt", context), name=f"told.{user.key}.{mail}",
    )  # fmt: skip
