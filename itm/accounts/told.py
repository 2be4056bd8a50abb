"""A word to a person about its own account, in case it was somebody else."""

from uuid import UUID, uuid4

from django.template.loader import render_to_string
from django.utils import timezone

from itm.accounts.models import User
from itm.core import letters, outbox

TOLD = {
    "password_set": "The password of your account was set anew by a link sent to this address. "
    "Every browser was signed out, and tokens and calendar addresses that you made work no more.",
    "password_changed": "The password of your account was changed by somebody who was signed in, "
    "and every other browser was signed out.",
    "second_step_on": "From now on your account asks for a code besides the password.",
    "second_step_off": "Your account no longer asks for a code: the password alone lets in.",
    "recovery_code_used": "One of the recovery codes of your account was used, in place of a code "
    "of your device.",
    "token_made": "A token for a program was made in your account: {of}. Whatever has it acts as "
    "you.",
    "link_made": "A link for readers was made in your account: {of}. Whoever has it reads without "
    "an account.",
    "calendar_made": "A calendar address was made in your account for {of}. Whoever has it reads "
    "what is due.",
    "invited": "In your account an invitation was sent to {of}.",
    "gave_role": "In your account the role of {of} was changed.",
    "removed": "In your account {of} was removed from the organisation.",
    "got_role": "Your role in {of} was changed.",
    "was_removed": "You no longer belong to {of}.",
}


def tell(user: User | None, what: str, of: object = "") -> None:
    """Promise the mail, inside the transaction of the deed; `of` is what the sentence names. What
    no person did is told to nobody."""
    if user is not None:
        key = str(user.key)
        outbox.add("send_told", user_key=key, what=what, mail=str(uuid4()), of=str(of))


def send_told(user_key: str, what: str, mail: str, of: str = "") -> None:
    """The promised job. Run twice it sends the same Message-ID twice."""
    user = User.objects.get(key=UUID(user_key))
    sentence = TOLD[what].format(of=of)
    context = {"sentence": sentence, "now": timezone.now(), "link": letters.address("reset_ask")}
    letters.send(
        to=user.email, subject="Your account at Foam ITM",
        body=render_to_string("mail/told.txt", context), name=f"told.{user.key}.{mail}",
    )  # fmt: skip
