"""Paths of the checkout, for tests that read the project itself."""

from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def root() -> Path:
    return Path(__file__).resolve().parents[2]
