"""How much a token may ask in a minute. Counted in the cache that all processes share.

A window of a minute that begins with the clock's: simple, exact, and one step of the counter for a
request. A cache that is away stops nobody.
"""

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

WINDOW = 60  # seconds
log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Left:
    """What the headers tell: how many in all, how many are left, seconds until it begins anew."""

    most: int
    left: int
    seconds: int

    def headers(self) -> dict[str, str]:
        """In the manner of the IETF draft on rate limit headers (from memory)."""
        return {
            "RateLimit-Policy": f'"token";q={self.most};w={WINDOW}',
            "RateLimit": f'"token";r={self.left};t={self.seconds}',
        }


class AMinute(BaseThrottle):
    def allow_request(self, request: Request, view: Any) -> bool:
        bearer = request.auth
        if not isinstance(bearer, Bearer):
            return True
        most, now = settings.API_REQUESTS_A_MINUTE, time.time()
        self.seconds = WINDOW - int(now) % WINDOW
        asked = counted(f"api-asked-{bearer.token.pk}-{int(now) // WINDOW}")
        view.left = Left(most, max(0, most - asked), self.seconds)
        return asked <= most

    def wait(self) -> float:
        return float(self.seconds)


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
