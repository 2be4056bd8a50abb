"""How much a token, or an address without one, may ask in a minute (`core/counting.py`)."""

import hashlib
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from itm.accounts.tokens import Bearer
from itm.core.callers import caller
from itm.core.counting import WINDOW, asked_now


@dataclass(frozen=True)
class Left:
    """What the headers tell: how many in all, how many are left, seconds until it begins anew."""

    most: int
    left: int
    seconds: int
    whose: str = "token"

    def headers(self) -> dict[str, str]:
        """In the manner of the IETF draft on rate limit headers (from memory)."""
        return {
            "RateLimit-Policy": f'"{self.whose}";q={self.most};w={WINDOW}',
            "RateLimit": f'"{self.whose}";r={self.left};t={self.seconds}',
        }


class AMinute(BaseThrottle):
    def allow_request(self, request: Request, view: Any) -> bool:
        bearer = request.auth
        if not isinstance(bearer, Bearer):
            return True  # counted before it was refused
        view.left, fine = _count(bearer.token.pk, settings.API_REQUESTS_A_MINUTE, "token")
        self.seconds = view.left.seconds
        return fine

    def wait(self) -> float:
        return float(self.seconds)


def stranger(request: Request) -> tuple[Left, bool]:
    """Counts a request without a token that works; false where its address asked too often.

    Programs behind one address share its count, and a token that works is never held back by it.
    """
    return _count(digest(caller(request)), settings.API_STRANGERS_A_MINUTE, "address")


def digest(address: str | None) -> str:
    """A name that every cache takes, whatever a header holds."""
    return hashlib.sha256((address or "").encode()).hexdigest()[:32]


def _count(who: int | str, most: int, whose: str) -> tuple[Left, bool]:
    asked, seconds = asked_now(f"api-asked-{whose}-{who}")
    return Left(most, max(0, most - asked), seconds, whose), asked <= most
