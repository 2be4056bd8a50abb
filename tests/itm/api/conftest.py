"""A program of each of the three, with a token for everything."""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from itm.accounts import tokens
from itm.accounts.actor import Actor
from itm.accounts.models import ApiToken


class Program(Client):
    """Speaks JSON to the interface; addresses begin behind /api/v1."""

    def ask(self, method: str, path: str, body: Any = None, **headers: str) -> Any:
        names = {name.replace("_", "-"): value for name, value in headers.items()}
        more = {} if body is None else {"data": body, "content_type": "application/json"}
        return getattr(self, method)(f"/api/v1{path}", headers=names, **more)

    def read(self, path: str, **headers: str) -> Any:
        got = self.ask("get", path, **headers)
        assert got.status_code == 200, got.content
        return got.json()


@pytest.fixture
def program() -> Callable[..., Program]:
    def made(actor: Actor, *scopes: str) -> Program:
        now = timezone.now()
        scopes = scopes or tuple(ApiToken.Scope.values)
        names = f"{' '.join(scopes)} {ApiToken.objects.count()}"
        _, text = tokens.make(actor=actor, name=names, scopes=scopes, expires_on=now.date(), at=now)
        return Program(headers={"Authorization": f"Bearer {text}"})

    return made


def refused(got: Any, status: int, code: str) -> list[dict[str, str]]:
    """The faults of a problem, which is worded like every other."""
    assert (got.status_code, got["Content-Type"]) == (status, "application/problem+json")
    body = got.json()
    assert set(body) == {"type", "title", "status", "code", "detail", "errors"}
    assert (body["status"], body["code"]) == (status, code), body
    assert body["detail"]
    errors: list[dict[str, str]] = body["errors"]
    return errors
