"""Signed in as one of the three people of the scene."""

from typing import Any

import pytest
from django.test import Client

from tests.conftest import Scene


@pytest.fixture
def enter(client: Client, sign_in: Any, scene: Scene) -> Any:
    return lambda who: sign_in(client, getattr(scene, who))
