"""Requests that nobody would have thought of, against the description of the interface.

Schemathesis makes them from the description alone, right ones and wrong ones, for a program of each
of the three. Whatever is asked, no answer is a fault of the server, and none is one that the
description does not know: status, media type, headers and the shape of the body.
"""

from typing import Any

import pytest
import schemathesis
from django.core.wsgi import get_wsgi_application
from django.db import transaction
from hypothesis import HealthCheck, Phase, given
from hypothesis import settings as laws
from hypothesis import strategies as st
from schemathesis.generation.modes import GenerationMode
from schemathesis.specs.openapi import checks as conformance

from itm.accounts.models import ApiToken
from itm.api.docs import description
from itm.api.v1 import urls
from tests.access.api_table import API
from tests.access.test_api import KINDS, program

EXAMPLES = 6  # of each kind for each operation and program: about a minute in all
CHECKS = [
    schemathesis.checks.not_a_server_error,
    conformance.status_code_conformance,
    conformance.content_type_conformance,
    conformance.response_headers_conformance,
    conformance.response_schema_conformance,
    # Not asked: that everything the description allows is taken. A bench with one standard is fine
    # JSON and no test, and what may be said of a site only its register knows.
]


# Each item is answered by itself: what is wrong with one is told in its own answer, under a 200.
ITEM_BY_ITEM = ("/api/v1/entries/", "/api/v1/tests/bulk/")


def nothing_taken(ctx: Any, response: Any, case: Any) -> None:
    """Where a list is answered item by item, none of a wrong one is taken."""
    if response.status_code == 200:
        states = {answer["state"] for answer in response.json()["answers"]}
        assert not states & {"taken", "taken_before"}, states


def named() -> dict[str, str]:
    """Path of the description → name of the address."""
    return {
        "/api/v1/" + str(one.pattern).replace("<uuid:key>", "{key}"): str(one.name)
        for one in urls.urlpatterns
    }


def operations() -> list[Any]:
    schema = schemathesis.openapi.from_dict(description())
    schema.app = get_wsgi_application()
    return [found.ok() for found in schema.get_all_operations()]


def test_every_operation_is_tried() -> None:
    tried = {(named()[one.path], one.method.lower()) for one in operations()}
    assert tried == set(API)


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
def test_no_request_is_answered_otherwise_than_described(
    scene: Any, things: Any, settings: Any, mode: GenerationMode, one_connection: None
) -> None:
    settings.API_REQUESTS_A_MINUTE = 1_000_000
    tokens = [
        program(getattr(scene, kind), *ApiToken.Scope.values).defaults["HTTP_AUTHORIZATION"]
        for kind in KINDS
    ]
    for operation in operations():
        own = things[API[named()[operation.path], operation.method.lower()][0]]
        strategy = operation.as_strategy(generation_mode=mode)
        try:
            tried(strategy, mode, own, tokens)
        except BaseException as error:
            error.add_note(f"{operation.method.upper()} {operation.path}")
            raise


def tried(strategy: Any, mode: GenerationMode, own: dict[str, Any], tokens: list[str]) -> None:
    """Each request by all three, since making one takes longer than asking it. Half of them name a
    thing that there is."""

    @laws(
        max_examples=EXAMPLES, deadline=None, derandomize=True, database=None,
        phases=[Phase.generate], suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(case=strategy, ours=st.booleans())
    def ask(case: Any, ours: bool) -> None:
        checks = [*CHECKS]
        if mode is GenerationMode.NEGATIVE:
            by_item = case.operation.path in ITEM_BY_ITEM
            checks.append(nothing_taken if by_item else conformance.negative_data_rejection)
        if ours and own and case.path_parameters:
            case.path_parameters |= {"key": str(own["key"])}
            checks = CHECKS  # what was wrong may have been the key
        for token in tokens:
            before = transaction.savepoint()
            case.call_and_validate(headers={"Authorization": token}, checks=checks)
            transaction.savepoint_rollback(before)

    ask()
