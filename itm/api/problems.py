"""What goes wrong, told one way: problem details (RFC 9457) with a JSON pointer for each place.

`code` is stable and may be tested by a program; sentences are for people and may be reworded.
"""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, JsonResponse
from rest_framework import exceptions
from rest_framework.response import Response

from itm.core.errors import Conflict, Forbidden, Gone, ItmError, NotFound, Refused, TooMany
from itm.doors.document import DocumentRefused

MEDIA_TYPE = "application/problem+json"
Fault = dict[str, str]  # pointer, code, detail


class Problem(exceptions.APIException):
    """One that the interface itself has: about headers, addresses and sizes, not about records."""

    def __init__(
        self, status: int, code: str, detail: str, errors: Iterable[Fault] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:  # fmt: skip
        super().__init__(detail, code)
        self.status_code, self.code, self.sentence = status, code, detail
        self.errors, self.headers = list(errors), dict(headers or {})


def fault(pointer: str, code: str, detail: str) -> Fault:
    return {"pointer": pointer, "code": code, "detail": detail}


def pointer(*steps: str | int) -> str:
    """RFC 6901."""
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in steps)


def body_of(status: int, code: str, detail: str, errors: Iterable[Fault] = ()) -> dict[str, Any]:
    return {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "code": code,
        "detail": detail,
        "errors": list(errors),
    }


@contextmanager
def named_at(*steps: str | int) -> Iterator[None]:
    """What a body names and is not there, or cannot stand there, is a fault of the body, not of the
    address."""
    try:
        yield
    except (NotFound, Refused) as error:
        raise Refused(error.code, error.sentence, pointer(*steps)) from error


def faults(detail: Any, steps: tuple[str | int, ...] = ()) -> Iterator[Fault]:
    """What a serializer refuses, one fault for each place."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            here = steps if name == "non_field_errors" else (*steps, name)
            yield from faults(inner, here)
    elif isinstance(detail, list) and any(isinstance(one, Mapping | list) for one in detail):
        for place, inner in enumerate(detail):
            yield from faults(inner, (*steps, place))
    else:
        for one in detail if isinstance(detail, list) else [detail]:
            yield fault(pointer(*steps), getattr(one, "code", None) or "invalid", str(one))


def handler(error: Exception, context: dict[str, Any]) -> Response | None:
    """For REST framework. None for a fault of ours: Django logs it and asks `server_error`."""
    found = _told(error)
    if found is None:
        return None
    status, code, detail, errors, headers = found
    return Response(
        body_of(status, code, detail, errors),
        status=status, headers=headers, content_type=MEDIA_TYPE,
    )  # fmt: skip


Told = tuple[int, str, str, list[Fault], dict[str, str]]


def _told(error: Exception) -> Told | None:
    if isinstance(error, ItmError):
        return told(error)
    if isinstance(error, Problem):
        return error.status_code, error.code, error.sentence, error.errors, error.headers
    if isinstance(error, Http404):
        return 404, "not_found", "There is nothing at this address.", [], {}
    if isinstance(error, PermissionDenied):
        return 403, "forbidden", "This is not yours to do.", [], {}
    if isinstance(error, exceptions.ValidationError):
        found = list(faults(error.detail))
        many = f"{len(found)} places have" if len(found) != 1 else "One place has"
        return 422, "not_valid", f"{many} to be put right; nothing was stored.", found, {}
    if isinstance(error, exceptions.APIException):
        return _of_framework(error)
    return None


def told(error: ItmError) -> Told:
    """Status, code, sentence, faults and headers of a refusal."""
    known = {NotFound: 404, Forbidden: 403, Conflict: 409, Gone: 410, TooMany: 429}
    status = known.get(type(error), 422)
    headers = {"Retry-After": str(error.seconds)} if isinstance(error, TooMany) else {}
    errors = []
    if isinstance(error, DocumentRefused):
        errors = [fault(one.place, one.code, one.sentence) for one in error.problems]
    elif isinstance(error, Refused):
        place = error.place
        at = place if place.startswith("/") else pointer(place) if place else ""
        errors = [fault(at, error.code, error.sentence)]
    return status, error.code, error.sentence, errors, headers


SENTENCES = {
    401: "Send a token of your organisation: Authorization: Bearer itm.…",
    405: "This address does not take that method; the header Allow names those it takes.",
    406: "Answers here are JSON; ask for application/json.",
    415: "Send JSON, with the header Content-Type: application/json; a file goes as "
    "multipart/form-data to the addresses that take one.",
    429: "That is more than this token, or this address without one, may ask in a minute; the "
    "header Retry-After says when it goes on.",
}
CODES = {
    400: "malformed",
    401: "not_signed_in",
    405: "method_not_allowed",
    406: "not_acceptable",
    415: "unsupported_media_type",
    429: "too_many_requests",
}


def _of_framework(error: exceptions.APIException) -> Told:
    status = error.status_code
    headers = {}
    if (wanted := getattr(error, "auth_header", None)) is not None:
        headers["WWW-Authenticate"] = wanted
    if (wait := getattr(error, "wait", None)) is not None:
        headers["Retry-After"] = str(max(1, round(wait)))
    code = CODES.get(status, str(error.get_codes()))
    return status, code, SENTENCES.get(status, str(error.detail)), [], headers


# What Django itself answers under /api/ ----------------------------------------------------------


def plainly(status: int, code: str, detail: str) -> JsonResponse:
    return JsonResponse(body_of(status, code, detail), status=status, content_type=MEDIA_TYPE)


def bad_request(request: HttpRequest, exception: Exception | None = None) -> JsonResponse:
    return plainly(400, "malformed", "This request cannot be read.")


def forbidden(request: HttpRequest, exception: Exception | None = None) -> JsonResponse:
    return plainly(403, "forbidden", "This is not yours to do.")


def not_found(request: HttpRequest, exception: Exception | None = None) -> JsonResponse:
    return plainly(
        404,
        "not_found",
        "There is nothing at this address. Addresses begin with /api/v1/ and end in a slash; "
        "/api/v1/docs/ names them all.",
    )


def server_error(request: HttpRequest) -> JsonResponse:
    return plainly(
        500,
        "server_error",
        "The server failed at this. Nothing was stored; send the same again later under the same "
        "key.",
    )
