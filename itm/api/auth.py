"""Who asks: a program with a token of its organisation, and what the token is for."""

from typing import Any

from django.utils import timezone
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from itm.accounts.tokens import SCOPES, Bearer, bearer_of
from itm.api.problems import Problem
from itm.core.errors import Refused

CHALLENGE = 'Bearer realm="foam-itm"'


class Tokens(BaseAuthentication):
    """Only the header counts: a token in an address would stand in every log on the way."""

    def authenticate(self, request: Request) -> tuple[Any, Bearer] | None:
        kind, _, text = get_authorization_header(request).decode("latin-1").partition(" ")
        if kind.lower() != "bearer":
            return None
        try:
            bearer = bearer_of(text.strip(), timezone.now())
        except Refused as refusal:
            raise Problem(
                401, refusal.code, refusal.sentence,
                headers={"WWW-Authenticate": f'{CHALLENGE}, error="invalid_token"'},
            ) from refusal  # fmt: skip
        return bearer.token.membership.user, bearer

    def authenticate_header(self, request: Request) -> str:
        return CHALLENGE


class InScope(BasePermission):
    """The token was made for this. What the person may do is asked further in."""

    def has_permission(self, request: Request, view: Any) -> bool:
        if not isinstance(request.auth, Bearer):
            return False
        scope = scope_of(view, request.method or "")
        if scope and scope not in request.auth.scopes:
            words = dict(SCOPES)[scope]
            raise Problem(
                403, "out_of_scope",
                f"This token was not made for that. It needs the scope “{scope}”: {words.lower()}.",
            )  # fmt: skip
        return True


def scope_of(view: Any, method: str) -> str:
    """None for a method that the address does not take: that is answered as such."""
    scopes: dict[str, str] = view.scopes
    return scopes.get("GET" if method == "HEAD" else method, "")
