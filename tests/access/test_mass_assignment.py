"""Fields that stand in a row and not on the page are taken by no form, and by no program's body.

Asked of every address that takes a POST: what the page would send goes with planted values beside
it, and no statement that writes may carry one (OWASP ASVS 4.0, 5.1.2).
"""

from functools import partial
from typing import Any
from uuid import UUID

import pytest
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse

from itm.accounts.models import Organisation
from tests.access.api_table import API
from tests.access.columns import KINDS
from tests.access.filling import filled
from tests.access.table import TABLE
from tests.access.test_api import SCOPES, program
from tests.access.walk import quietly
from tests.factories import SiteFactory

KEY = "deadbeef-0000-4000-8000-00000badbeef"
TEXT, DAY, NUMBER = "Planted-By-A-Stranger", "1999-09-09", 987654321
# Columns that say whose a row is, who did it, when, and how it stands: never typed by anybody.
PLANTED: dict[str, str] = {
    **dict.fromkeys(("key", "person_key", "user_key"), KEY),
    **dict.fromkeys(
        ("person", "opened_by", "closed_by", "added_by", "made_by", "made_by_name", "asked_by",
         "signer", "organisation_name", "state", "via", "digest", "document", "stands", "source"),
        TEXT,
    ),
    **dict.fromkeys(
        ("sealed_at", "sealed", "closed_at", "withdrawn_at", "retired_on", "let_go", "ended_on",
         "made_at", "opened_at", "seen_at", "met_at", "restored_at"),
        DAY,
    ),
    **dict.fromkeys(
        ("id", "pk", "site_id", "organisation_id", "owner", "owner_id", "user", "user_id",
         "membership", "membership_id", "contractor_id", "adopter", "visit_id", "test_id"),
        str(NUMBER),
    ),
}  # fmt: skip


class Written:
    """What the statements that write carry, as long as it watches."""

    def __init__(self) -> None:
        self.wrote, self.planted = False, []  # type: ignore[var-annotated]

    def __call__(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        if sql.startswith(("INSERT", "UPDATE")) and "django_session" not in sql:
            table = sql.split('"')[1]
            # A try at the door keeps a digest, and a session is the person's own.
            self.wrote = self.wrote or table not in ("accounts_signedin", "accounts_try")
            said = [str(one) for row in (params if many else [params]) for one in row or ()]
            marks = (KEY, UUID(KEY).hex, TEXT, DAY, str(NUMBER))
            self.planted += [(table, one) for one in said if any(m in one for m in marks)]
        return execute(sql, params, many, context)


def sent(client: Client, url: str) -> Written:
    page = client.get(url)
    data, named = {}, set()
    if page.status_code == 200 and "html" in page.get("Content-Type", ""):
        data, named = filled(page.content.decode())
    more = {name: value for name, value in PLANTED.items() if name not in named}
    seen, before = Written(), transaction.savepoint()
    with connection.execute_wrapper(seen):
        got = client.post(url, data | more)
    transaction.savepoint_rollback(before)
    assert got.status_code < 500, url
    return seen


@pytest.fixture
def somebody_elses(scene):
    """The planted number is a row's, so that a form that took it would find one."""
    other = Organisation(pk=NUMBER, name="Somebody else", kind="owner")
    other.save(by=scene.owner)
    SiteFactory(pk=NUMBER, owner=other)


@pytest.mark.parametrize("kind", KINDS)
def test_no_page_takes_what_it_does_not_ask(scene, things, sign_in, kind, somebody_elses):
    client = sign_in(Client(), getattr(scene, kind))
    taken, wrote = {}, 0
    with quietly():
        for name, (thing, *own) in TABLE.items():
            if own[KINDS.index(kind)] == "ok" and not name.endswith(("_pdf", "_copy", "_file")):
                seen = sent(client, reverse(name, kwargs=things[thing]))
                wrote += seen.wrote
                if seen.planted:
                    taken[name] = seen.planted
    assert taken == {}
    assert wrote > LEAST[kind]  # so many forms were good enough to be taken


LEAST = {"owner": 60, "contractor": 45, "authority": 20}


def test_no_body_of_a_program_takes_what_is_not_described(scene, things):
    """Each key that nobody reads is refused by its name, whatever else is right or wrong."""
    client = program(scene.owner, *SCOPES)
    left = {}
    with quietly():
        for (name, method), (thing, _, owner, *_) in API.items():
            if method == "get" or owner != "ok":
                continue
            before = transaction.savepoint()
            url, more = reverse(f"v1:{name}", kwargs=things[thing]), {"organisation_id": NUMBER}
            ask = partial(
                getattr(client, method), url, more,
                headers={"If-Match": "*", "Idempotency-Key": KEY},
            )  # fmt: skip
            got = ask(content_type="application/json")
            if got.status_code == 415:  # it takes files, so it takes parts
                got = ask()
            transaction.savepoint_rollback(before)
            if "organisation_id" not in got.content.decode() or got.status_code < 400:
                left[name, method] = got.status_code, got.json()["code"]
    assert left == {}
