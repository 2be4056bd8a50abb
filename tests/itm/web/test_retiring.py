"""Out of use with a date, and back again."""

from datetime import date
from typing import Any

import pytest
from django.contrib.messages import get_messages

from itm.core.history import Change
from tests.conftest import Scene
from tests.factories import (
    FoamSystemFactory,
    SiteFactory,
)


def test_retired_proportioner_leaves_the_list_with_a_date_and_undo_brings_it_back(
    enter: Any, scene: Scene
) -> None:
    page, key = enter("owner"), scene.proportioner.key
    answer = page.post(f"/proportioners/{key}/retire/", {"retired_on": "2026-01-31"})
    said = [*get_messages(answer.wsgi_request)][-1]
    assert said.extra_tags == f"/proportioners/{key}/take-back/"
    scene.proportioner.refresh_from_db()
    assert scene.proportioner.retired_on == date(2026, 1, 31)
    link = f'href="/proportioners/{key}/"'
    assert link not in page.get("/proportioners/").content.decode()
    assert link in page.get("/proportioners/?shown=retired").content.decode()
    assert "Retired since 31 Jan 2026" in page.get(f"/proportioners/{key}/").content.decode()
    page.post(f"/proportioners/{key}/take-back/")
    assert link in page.get("/proportioners/").content.decode()
    verbs = Change.objects.filter(object_key=key).values_list("verb", flat=True)
    assert list(verbs) == ["created", "retired", "taken back"]


@pytest.mark.parametrize("what", ["site", "system", "tank"])
def test_what_others_hang_on_is_not_retired_before_them(
    enter: Any, scene: Scene, what: str
) -> None:
    row = getattr(scene, what)
    answer = enter("owner").post(f"/{what}s/{row.key}/retire/", {"retired_on": "2026-01-31"})
    assert answer.status_code == 422
    assert "Still in use here: " in answer.content.decode()
    row.refresh_from_db()
    assert row.retired_on is None


@pytest.mark.parametrize(
    ("day", "sentence"),
    [
        ("2999-01-01", "This day has not come yet."),
        ("2017-01-01", "was commissioned on 1 Mar 2018"),
    ],
)
def test_day_of_retiring_lies_between_commissioning_and_today(
    enter: Any, scene: Scene, day: str, sentence: str
) -> None:
    system = FoamSystemFactory(site=scene.site)
    answer = enter("owner").post(f"/systems/{system.key}/retire/", {"retired_on": day})
    assert sentence in answer.content.decode()
    assert f'value="{day}"' in answer.content.decode()
    system.refresh_from_db()
    assert system.retired_on is None


def test_taking_back_says_when_the_name_was_given_away(enter: Any, scene: Scene) -> None:
    old = FoamSystemFactory(site=scene.site, name=scene.system.name, retired_on=date(2024, 1, 1))
    answer = enter("owner").post(f"/systems/{old.key}/take-back/")
    assert answer.status_code == 422
    assert "already has a system with that name" in answer.content.decode()


def test_taking_back_waits_for_what_it_hangs_on(enter: Any, scene: Scene) -> None:
    site = SiteFactory(owner=scene.owner.organisation, retired_on=date(2025, 1, 1))
    system = FoamSystemFactory(site=site, retired_on=date(2025, 1, 1))
    answer = enter("owner").post(f"/systems/{system.key}/take-back/")
    assert "is retired since 1 Jan 2025; take that back first" in answer.content.decode()
    system.refresh_from_db()
    assert system.retired_on is not None
