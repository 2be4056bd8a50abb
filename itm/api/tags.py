"""ETag and its conditions (RFC 9110): nobody saves over what they have not seen."""

import hashlib
from typing import Any

from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from itm.api.problems import Problem


def tag_of(representation: Any) -> str:
    """Of everything that the answer says, whatever table it came from."""
    return f'"{hashlib.sha256(JSONRenderer().render(representation)).hexdigest()[:32]}"'


def unchanged(request: Request, tag: str) -> bool:
    """Whether If-None-Match names what stands here. It compares weakly."""
    given = request.headers.get("If-None-Match", "")
    return given.strip() == "*" or tag in [one.removeprefix("W/") for one in _listed(given)]


def require_match(request: Request, tag: str) -> None:
    """Raises Problem precondition_required, precondition_failed. A weak tag never matches."""
    given = request.headers.get("If-Match", "").strip()
    if not given:
        raise Problem(
            428, "precondition_required",
            "Send the header If-Match with the ETag under which you read this, so that you change "
            "what you have seen.",
        )  # fmt: skip
    if given != "*" and tag not in _listed(given):
        raise Problem(
            412, "precondition_failed",
            "This was changed since you read it. Read it again, look at what changed, then send "
            "your change with the new ETag.",
            headers={"ETag": tag},
        )  # fmt: skip


def _listed(given: str) -> list[str]:
    return [one.strip() for one in given.split(",")]
