"""Everybody who may ask, and how each is asked."""

import io
import logging
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import transaction
from django.http import HttpResponse
from django.test import Client

from itm.accounts.actor import Actor
from tests.access.columns import EVERYBODYS, KINDS, ROLES
from tests.factories import TODAY, GrantFactory, OrganisationFactory, actor_of


def everybody(scene: Any) -> dict[str, Actor]:
    """By the name of the column: a role in the organisations of the scene, another contractor that
    is engaged at the same site, and a manager elsewhere of each kind."""
    out = {}
    for kind in KINDS:
        manager = getattr(scene, kind)
        for role in ROLES:
            own = manager if role == "manager" else actor_of(manager.organisation, role=role)
            out[f"{role} {kind}"] = own
        out[f"foreign {kind}"] = actor_of(OrganisationFactory(kind=kind))
    out["another contractor"] = actor_of(OrganisationFactory(kind="contractor"))
    GrantFactory(site=scene.site, organisation=out["another contractor"].organisation)
    out["removed owner"] = actor_of(scene.owner.organisation)
    return out


def remove(scene: Any, actor: Actor) -> None:
    """Once signed in or holding a token: whoever is removed keeps the cookie of the browser."""
    row = actor.user.memberships.get()
    row.ended_on = TODAY
    row.save(by=scene.owner)


def engagement_over(scene: Any) -> None:
    """The day of its tests was the contractor's last, and that is long ago."""
    row = scene.site.grants.get(organisation=scene.contractor.organisation)
    row.ends_on = TODAY
    row.save(by=scene.owner)


def asked(client: Client, url: str, method: str, **given: Any) -> HttpResponse:
    """The answer, which must be no fault of the server. Deeds are tried without their data, and
    what they did is undone."""
    before = transaction.savepoint()
    got = getattr(client, method)(url, **given)
    transaction.savepoint_rollback(before)
    assert got.status_code < 500, (url, method, got.status_code)
    return got


def said(got: HttpResponse) -> str:
    """Not taken by this method, forbidden, not found, or anything else."""
    return {403: "403", 404: "404", 405: "405"}.get(got.status_code, "ok")


@contextmanager
def quietly() -> Iterator[None]:
    """Without a line of the log for each of some thousands of requests."""
    logging.disable(logging.CRITICAL)
    try:
        yield
    finally:
        logging.disable(logging.NOTSET)


def named_by(things: dict[str, dict[str, Any]]) -> set[str]:
    """What no answer to a stranger may hold: keys, digests and secrets of things with an owner."""
    return {
        str(value)
        for thing, keys in things.items()
        if thing not in EVERYBODYS
        for word, value in keys.items()
        if word in ("key", "digest", "token")
    }


def text_of(got) -> str:
    """What an answer says, unpacked where it is a workbook."""
    data = b"".join(got.streaming_content) if got.streaming else got.content
    if data[:2] == b"PK":
        with zipfile.ZipFile(io.BytesIO(data)) as book:
            data = b"".join(book.read(name) for name in book.namelist())
    return data.decode("utf-8", "replace")
