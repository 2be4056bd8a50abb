"""Migrations follow the models, and no two of an app carry the same number."""

from collections import Counter
from pathlib import Path

import pytest
from django.core.management import call_command


@pytest.mark.django_db
def test_models_have_not_drifted_from_their_migrations(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("makemigrations", check=True, dry_run=True)  # leaves with an error where they have
    assert "No changes detected" in capsys.readouterr().out


def test_no_two_migrations_of_an_app_have_one_number(root: Path) -> None:
    files = list((root / "itm").glob("*/migrations/[0-9]*.py"))
    assert files
    twins = Counter((one.parent, one.name[:4]) for one in files)
    assert [key for key, count in twins.items() if count > 1] == []


def test_migrations_are_named_for_their_purpose(root: Path) -> None:
    assert list((root / "itm").glob("*/migrations/*_auto_*.py")) == []
