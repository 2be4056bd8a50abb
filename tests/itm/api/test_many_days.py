"""A thousand days at once: accepted, taken one by one by the worker, and told of each."""

import json
from copy import deepcopy
from typing import Any
from uuid import uuid4

import pytest
from django.utils import timezone

from itm.accounts.models import ApiToken
from itm.api.v1 import many_days
from itm.core import outbox
from itm.core.models import Job
from itm.intake.models import ManyDays, OneOfMany
from itm.records.models import ProportioningTest, Visit
from tests.doors.documents import day_document
from tests.factories import OrganisationFactory, actor_of
from tests.itm.api.conftest import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def document(scene: Any) -> dict[str, Any]:
    return day_document(scene)


def of_month(document: dict[str, Any], month: int) -> dict[str, Any]:
    text = json.dumps(document).replace("2026-06-15", f"2025-{month:02d}-15")
    return {"key": str(uuid4()), "document": json.loads(text)}


def later(program: Any, *days: Any, key: Any = None) -> Any:
    return program.ask(
        "post", "/tests/bulk/", {"days": days}, Prefer="respond-async",
        Idempotency_Key=str(key or uuid4()),
    )  # fmt: skip


def at(got: Any) -> str:
    there: str = got["Location"].removeprefix("/api/v1")
    return there


def works() -> None:
    """The worker takes this job, and no report that is promised beside it."""
    for job in Job.objects.filter(kind="take_many_days", done_at=None):
        while many_days.take_many_days(**job.payload) is outbox.MORE:
            pass


def test_days_are_accepted_and_each_is_told_once_it_is_taken(
    scene: Any, program: Any, document: Any
) -> None:
    wrong = of_month(deepcopy(document), 2)
    wrong["document"]["tests"][0]["runs"][0]["solution_flow"] = "much"
    days = [of_month(document, 1), wrong, {"key": "x", "document": document}, of_month(document, 3)]
    ours = program(scene.contractor, "hand_in")
    got = later(ours, *days)
    assert (got.status_code, got["Preference-Applied"]) == (202, "respond-async")
    assert got.json()["days"] == 4
    assert Visit.objects.count() == 0  # nothing was done while the request waited
    before = ours.ask("get", at(got))
    assert before["Retry-After"]
    assert (before.json()["state"], before.json()["left"]) == ("at_work", 4)
    works()
    after = ours.read(at(got))
    assert (after["state"], after["taken"], after["refused"], after["left"]) == ("done", 2, 2, 0)
    assert [one["state"] for one in after["answers"]] == ["taken", "refused", "refused", "taken"]
    assert [one["key"] for one in after["answers"]] == [day["key"] for day in days]
    pointers = [[e["pointer"] for e in one["errors"]] for one in after["answers"]]
    assert pointers == [[], ["/tests/0/runs/0/solution_flow"], ["/key"], []]
    [test] = after["answers"][0]["made"]["tests"]
    assert (test["state"], test["limits"]) == ("handed_in", "in band")
    assert ProportioningTest.objects.count() == 2
    assert not OneOfMany.objects.filter(asked__isnull=False).exists()  # documents go once answered


def test_the_same_sent_again_is_accepted_once_and_another_body_refused(
    scene: Any, program: Any, document: Any
) -> None:
    ours, key, day = program(scene.contractor), uuid4(), of_month(document, 1)
    first, again = later(ours, day, key=key), later(ours, day, key=key)
    assert (again.status_code, again.content) == (202, first.content)
    assert again["Idempotency-Repeated"] == "true"
    assert at(again) == at(first)
    assert ManyDays.objects.count() == 1
    refused(later(ours, of_month(document, 2), key=key), 422, "other_body")


def test_the_job_twice_and_a_day_that_was_taken_before_make_one(
    scene: Any, program: Any, document: Any
) -> None:
    ours, day = program(scene.contractor), of_month(document, 1)
    first, second = later(ours, day), later(ours, day)
    for _ in range(2):
        works()
    assert ours.read(at(first))["answers"][0]["state"] == "taken"
    assert ours.read(at(second))["answers"][0]["state"] == "taken_before"
    assert Visit.objects.count() == 1


def test_after_its_turn_the_job_lets_others_go_first_and_goes_on(
    scene: Any, program: Any, document: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(many_days, "TURN", -1.0)
    ours = program(scene.contractor)
    got = later(ours, of_month(document, 1), of_month(document, 2))
    [many] = ManyDays.objects.all()
    assert many_days.take_many_days(many.pk) is outbox.MORE
    told = ours.read(at(got))
    assert (told["taken"], told["left"], told["state"]) == (1, 1, "at_work")
    works()
    assert ours.read(at(got))["state"] == "done"


def test_the_outbox_knows_the_job(scene: Any, program: Any) -> None:
    got = later(program(scene.contractor), {"key": str(uuid4()), "document": {}})
    assert outbox.run_one()
    assert program(scene.contractor).read(at(got))["refused"] == 1
    assert Job.objects.get(kind="take_many_days").done_at is not None


def test_a_day_that_ends_its_worker_twice_is_left_out_and_the_others_go_on(
    scene: Any, program: Any, document: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, bad = many_days.hand_in_day, of_month(document, 1)

    def killed(*, key: Any, **more: Any) -> Any:
        if str(key) == bad["key"]:
            raise KeyboardInterrupt  # as a process that is ended: no `except` of ours sees it
        return real(key=key, **more)

    monkeypatch.setattr(many_days, "hand_in_day", killed)
    ours = program(scene.contractor)
    got = later(ours, bad, of_month(document, 2))
    for _ in range(2):
        with pytest.raises(KeyboardInterrupt):
            works()
    works()
    answers = ours.read(at(got))["answers"]
    assert [(one["state"], one["code"]) for one in answers] == [
        ("refused", "failed"), ("taken", ""),
    ]  # fmt: skip


def test_a_token_that_was_revoked_meanwhile_hands_nothing_in(
    scene: Any, program: Any, document: Any
) -> None:
    got = later(program(scene.contractor), of_month(document, 1))
    token = ApiToken.objects.get()
    token.revoked_at = timezone.now()
    token.save(by=scene.contractor)
    works()
    [answer] = program(scene.contractor).read(at(got))["answers"]
    assert (answer["state"], answer["code"]) == ("refused", "token_ended")
    assert Visit.objects.count() == 0


def test_what_another_organisation_handed_in_is_not_found(
    scene: Any, program: Any, document: Any
) -> None:
    key = uuid4()
    got = later(program(scene.contractor), of_month(document, 1), key=key)
    stranger = program(actor_of(OrganisationFactory(kind="contractor")))
    refused(stranger.ask("get", at(got)), 404, "not_found")
    assert later(stranger, of_month(document, 2), key=key).status_code == 202  # its own key
    assert ManyDays.objects.count() == 2


def test_without_a_key_nothing_is_accepted(scene: Any, program: Any, document: Any) -> None:
    got = program(scene.contractor).ask(
        "post", "/tests/bulk/", {"days": [of_month(document, 1)]}, Prefer="respond-async"
    )
    refused(got, 400, "key_missing")
