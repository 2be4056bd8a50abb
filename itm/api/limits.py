"""How much a token, or an address without one, may ask in a minute. Counted in the cache that all
processes share.

A window of a minute that begins with the clock's: simple, exact, and one step of the counter for a
request. A cache that is away stops nobody.
"""

import hashlib
import logging
import time
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.core.cache import cache
from redis.exceptions import RedisError
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from itm.accounts.tokens import Bearer
from itm.core.callers import caller

WINDOW = 60  # seconds
log = logging.getLogger(__name__)


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
    now = time.time()
    asked = counted(f"api-asked-{whose}-{who}-{int(now) // WINDOW}")
    seconds = WINDOW - int(now) % WINDOW
    return Left(most, max(0, most - asked), seconds, whose), asked <= most


def counted(name: str) -> int:
    """How often this was counted, this time included."""
    try:
        cache.add(name, 0, 2 * WINDOW)
        return cache.incr(name)
    except ValueError:  # it was thrown out of the cache in between
        return 1
    except RedisError:
        log.exception("requests cannot be counted: the cache is away")
        return 1
