"""Archives that many tests read: made once, by sites that are gone when a test begins."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.test import override_settings

from tests.archiving import DEEDS, archived, photos_and_papers
from tests.conftest import Scene, new_scene
from tests.deeds import tested


@contextmanager
def for_a_while(blocker: Any, files: Path, *deeds: Callable[[Scene], Any]) -> Iterator[Scene]:
    """A site at which that happened, in one transaction that deeds may take for outermost."""
    with blocker.unblock(), override_settings(MEDIA_ROOT=files, OUTBOX_NUDGE="none"):
        outer = transaction.atomic()
        outer._from_testcase = True
        outer.__enter__()
        try:
            scene = new_scene()
            for deed in deeds:
                deed(scene)
            yield scene
        finally:
            transaction.set_rollback(True)
            outer.__exit__(None, None, None)


@pytest.fixture(scope="session")
def path(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """Of a small site: one sealed test, some files. Nothing of it is in the database or store."""
    folder = tmp_path_factory.mktemp("small")
    with for_a_while(django_db_blocker, folder / "files", photos_and_papers, tested) as scene:
        return archived(scene.owner, scene.site, folder / "site.zip")


@pytest.fixture(scope="session")
def everything(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """The same of a site at which some of everything happened."""
    folder = tmp_path_factory.mktemp("everything")
    with for_a_while(django_db_blocker, folder / "files", *DEEDS) as scene:
        return archived(scene.owner, scene.site, folder / "site.zip")


@pytest.fixture(scope="module")
def world(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Scene, Path]]:
    """The site itself, there for all tests of a module, and its archive."""
    folder = tmp_path_factory.mktemp("world")
    with for_a_while(django_db_blocker, folder / "files", *DEEDS) as scene:
        made = archived(scene.owner, scene.site, folder / "site.zip")
        yield scene, made
