"""A refusal that a view lets pass is answered in words, once, and never leads to another host."""

import pytest
from django.contrib.messages.storage.base import BaseStorage
from django.contrib.messages.storage.session import SessionStorage
from django.http import HttpRequest, HttpResponse
from django.test import RequestFactory
from django.urls import reverse

from itm.core.errors import Conflict, Forbidden, ItmError, NotFound, Refused
from itm.web.middleware import RefusalMiddleware


def answer(error: Exception, *, method: str = "post", referer: str = "") -> HttpResponse | None:
    request: HttpRequest = getattr(RequestFactory(), method)("/x/", headers={"Referer": referer})
    request.session = {}  # type: ignore[assignment]
    storage: BaseStorage = SessionStorage(request)
    request._messages = storage  # type: ignore[attr-defined]
    return RefusalMiddleware(lambda _: HttpResponse()).process_exception(request, error)


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (NotFound("site", "x"), 404),
        (Forbidden("Only a supervisor signs."), 403),
        (Refused("wrong_state", "It is sealed."), 422),
        (Conflict("Somebody was faster."), 409),
    ],
)
def test_each_refusal_has_its_status_and_its_sentence(error: ItmError, status: int) -> None:
    got = answer(error, method="get")
    assert got is not None
    assert got.status_code == status
    if status in (409, 422):
        assert error.sentence in got.content.decode()


def test_a_refused_deed_leads_back_to_its_page() -> None:
    got = answer(Refused("wrong_state", "It is sealed."), referer="http://testserver/tests/1/")
    assert got is not None
    assert (got.status_code, got["Location"]) == (302, "http://testserver/tests/1/")


@pytest.mark.parametrize(
    "referer", ["http://testserver.example.net/", "https://elsewhere.example/", ""]
)
def test_nobody_is_sent_to_another_host(referer: str) -> None:
    got = answer(Refused("wrong_state", "It is sealed."), referer=referer)
    assert got is not None
    assert got.status_code == 422


def test_an_address_that_is_none_is_no_fault_of_the_server() -> None:
    got = answer(Refused("wrong_state", "It is sealed."), referer="nonsense")
    assert got is not None
    assert got.status_code in (302, 422)


def test_a_fault_of_the_server_is_not_worded_as_a_refusal() -> None:
    assert answer(ValueError("a fault")) is None


@pytest.mark.django_db
def test_a_foreign_thing_is_not_found_in_words(client, scene, sign_in) -> None:
    nowhere = reverse("site", args=["00000000-0000-4000-8000-000000000000"])
    got = sign_in(client, scene.contractor).get(nowhere)
    assert got.status_code == 404
    assert "Nothing here" in got.content.decode()
