"""A secret that stands on one page once, the one that follows its making. What is kept of it is a
digest, so until then it lies in the session of who made it."""

from uuid import UUID

from django.http import HttpRequest


def keep(request: HttpRequest, what: str, key: UUID, secret: str) -> None:
    request.session[what] = [str(key), secret]


def take(request: HttpRequest, what: str, key: UUID) -> str:
    """That of the row with this key, which is then gone; empty where it was shown already."""
    made, secret = request.session.get(what) or ("", "")
    if made != str(key):
        return ""
    del request.session[what]
    return str(secret)
