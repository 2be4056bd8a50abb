"""The OpenAPI description: valid, complete, and open to everybody."""

import json
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.test import Client

from itm.api.docs import description
from tests.access.api_table import API

METHODS = {"get", "post", "patch"}


def operations() -> list[tuple[str, str, dict[str, Any]]]:
    return [
        (path, method, operation)
        for path, methods in description()["paths"].items()
        for method, operation in methods.items()
        if method in METHODS
    ]


def test_description_is_valid_and_nothing_was_guessed(tmp_path: Path) -> None:
    """By the JSON schema of OpenAPI itself, and without one warning of the generator."""
    call_command("spectacular", validate=True, fail_on_warn=True, file=str(tmp_path / "x.yml"))


def test_description_names_every_address_and_method() -> None:
    assert len(operations()) == len(API)


def test_operation_tells_its_scope_and_its_problems() -> None:
    for path, method, operation in operations():
        told = set(operation["responses"])
        assert {"400", "401", "403", "406", "429", "500"} < told, path
        assert ("404" in told) == ("{" in path), path
        assert ("428" in told) == ("412" in told) == (method == "patch"), path
        assert ("415" in told) == ("413" in told) == ("requestBody" in operation), path
        assert "422" in told or "415" not in told, path
        assert operation["summary"]
        assert "scope" in operation["description"], path


def test_description_is_served_to_everybody(client: Client) -> None:
    got = client.get("/api/v1/schema/")
    assert got.status_code == 200
    assert json.loads(got.content) == json.loads(json.dumps(description()))
