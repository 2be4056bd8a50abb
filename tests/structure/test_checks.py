"""Django's system checks and the project's own pass without a word."""

import pytest
from django.core.checks import run_checks


@pytest.mark.django_db
def test_system_checks_find_nothing() -> None:
    assert run_checks(databases=["default"]) == []
