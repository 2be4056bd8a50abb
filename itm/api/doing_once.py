"""Idempotency-Key: what is sent twice under one key is done once, and answered the same."""

import json
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

from django.core.cache import cache
from django.utils import timezone
from redis.exceptions import RedisError
from rest_framework.request import Request
from rest_framework.response import Response

from itm.accounts.actor import Actor
from itm.api.problems import Problem
from itm.core.errors import Refused
from itm.intake.once import Answer, keep, once, replayed

HEADER = "Idempotency-Key"
REPEATED = "Idempotency-Repeated"
AT_WORK = 120  # seconds after which a request whose process died no longer stands in the way


def key_of(request: Request) -> uuid.UUID:
    """Raises Problem key_missing, key_malformed."""
    given = request.headers.get(HEADER, "").strip().strip('"')
    if not given:
        raise Problem(
            400, "key_missing",
            f"Send the header {HEADER} with a UUID that you make for this one thing and keep until "
            "it is answered: sent twice, it is done once.",
        )  # fmt: skip
    try:
        return uuid.UUID(given)
    except ValueError as error:
        raise Problem(
            400, "key_malformed",
            f"The header {HEADER} holds a UUID such as 0b1f3c52-6a54-4a0e-9d5c-2f0f6e1d7a10.",
        ) from error  # fmt: skip


def answered(
    request: Request, what: str, do: Callable[[uuid.UUID], Any], *, status: int = 201,
    body: Any = None,
) -> Response:  # fmt: skip
    """Do it under the request's key. `do` returns the body of the answer; `body` is what was asked
    for where that is more than JSON.

    Raises Problem in_flight, other_body and what `do` raises; refused work leaves the key free.
    """
    bearer: Any = request.auth
    actor, key = bearer.actor, key_of(request)
    with at_work(actor, key):
        try:
            answer = once(
                actor=actor, key=key, what=what, body=request.data if body is None else body,
                do=lambda: do(key), at=timezone.now(),
            )  # fmt: skip
        except Refused as refusal:
            if refusal.code == "asked_at_once":
                raise _in_flight() from refusal
            raise
    return Response(told(answer), status=status, headers=repeated(answer))


def answered_in_parts(
    request: Request, what: str, do: Callable[[], Any], *, final: Callable[[Any], bool]
) -> Response:
    """Work whose parts have keys of their own and are committed one by one. The request may carry
    a key as well: once every part has its `final` answer, the exact repeat gets the same.

    Raises Problem in_flight, other_body, key_malformed.
    """
    if not request.headers.get(HEADER, "").strip():
        return Response(do())
    bearer: Any = request.auth
    actor, key = bearer.actor, key_of(request)
    asked: dict[str, Any] = {"actor": actor, "key": key, "what": what, "body": request.data}
    with at_work(actor, key):
        answer = replayed(**asked)
        if answer is None:
            value = do()
            if not final(value):
                return Response(value)
            answer = keep(**asked, value=value, at=timezone.now())
    return Response(told(answer), headers=repeated(answer))


def told(answer: Answer) -> Any:
    """In one order of keys: a database keeps them in its own, and a repeat is the same to the
    byte."""
    return json.loads(json.dumps(answer.value, sort_keys=True))


def repeated(answer: Answer) -> dict[str, str]:
    return {REPEATED: "true"} if answer.repeated else {}


@contextmanager
def at_work(actor: Actor, key: uuid.UUID) -> Iterator[None]:
    """One request a key at a time. The database alone would do; this answers instead of waiting."""
    name = f"api-at-work-{actor.organisation_id}-{key}"
    try:
        free = cache.add(name, 1, AT_WORK)
    except RedisError:
        free = True
    if not free:
        raise _in_flight()
    try:
        yield
    finally:
        with suppress(RedisError):
            cache.delete(name)


def _in_flight() -> Problem:
    return Problem(
        409, "in_flight", "The same is at work under this key; ask again in a moment.",
        headers={"Retry-After": "1"},
    )  # fmt: skip
