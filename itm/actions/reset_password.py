"""A password set anew by whoever reads the mail of the account, perhaps because it was stolen."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from itm.accounts import passwords, tokens
from itm.accounts.models import User
from itm.notices import services as notices


@transaction.atomic
def reset_password(*, key: UUID, token: str, password: str, at: datetime) -> User:
    """Nothing that lets in without the new password works any more: sessions, tokens, calendars.

    Raises what `passwords.set_anew` raises.
    """
    user = passwords.set_anew(key=key, token=token, password=password, at=at)
    tokens.revoke_all(user=user, at=at, why="the password was set anew by mail")
    notices.end_feeds(user)
    return user
