"""The OpenAPI description: written from the code, with what all addresses have in common."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers

from itm.api.auth import scope_of
from itm.api.problems import MEDIA_TYPE

SAID = {
    400: "The request cannot be read: broken JSON, a header or a parameter that is not right.",
    401: "No token, or one that does not work any more.",
    403: "The token, or the person behind it, may not do this.",
    404: "No such thing, or not yours to see.",
    406: "Answers are JSON.",
    409: "The same is at work under this key, or somebody else was faster.",
    410: "The store has lost it; what is noted of it stays.",
    412: "It was changed since you read it.",
    413: "The body is larger than this address takes.",
    415: "Bodies are JSON, or multipart/form-data where an address says so.",
    422: "The body can be read, and something in it has to be put right.",
    428: "A change needs If-Match.",
    429: "The token, or the address without one, asked too often; Retry-After says when it goes "
    "on.",
    500: "The server failed. Nothing was stored.",
}
RATE = {
    "RateLimit-Policy": (
        "string",
        "How many requests a token, or an address, has in how many seconds.",
    ),
    "RateLimit": ("string", "How many are left, and the seconds until it begins anew."),
}
ETAG = {"ETag": ("string", "Of exactly this representation.")}


class FaultShape(serializers.Serializer):
    pointer = serializers.CharField(help_text="JSON pointer into the body; empty for all of it.")
    code = serializers.CharField(help_text="Stable; for programs.")
    detail = serializers.CharField(help_text="For people: what is wrong and what would be right.")


class ProblemShape(serializers.Serializer):
    """Problem details, RFC 9457."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    code = serializers.CharField(help_text="Stable; for programs.")
    detail = serializers.CharField()
    errors = FaultShape(many=True)  # type: ignore[assignment]


class TokenScheme(OpenApiAuthenticationExtension):
    target_class = "itm.api.auth.Tokens"
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A token that a manager of the organisation makes under /tokens/.",
        }


class Described(AutoSchema):
    """Adds to each operation its scope, its headers, and every problem that it can answer."""

    def get_serializer_name(self, serializer: Any, direction: Any) -> str:
        """Shapes are named for what they show."""
        return str(super().get_serializer_name(serializer, direction)).removesuffix("Shape")

    def get_operation(self, *args: Any, **kwargs: Any) -> dict[str, Any] | None:
        operation = super().get_operation(*args, **kwargs)
        if operation is None:
            return None
        scope = scope_of(self.view, self.method)
        needs = f"Needs the scope `{scope}`." if scope else "Every scope will do."
        said = operation.get("description", "")
        operation["description"] = f"{said}\n\n{needs}".strip()
        responses = operation["responses"]
        for status, response in list(responses.items()):
            one = self.method == "GET" and status == "200" and "{" in self.path
            changed = self.method == "PATCH" and status == "200"
            _headers(response, {**RATE, **(ETAG if one or changed else {})})
        problem = self.resolve_serializer(ProblemShape, "response").ref
        for status in self._problems(operation):
            responses[str(status)] = {
                "description": SAID[status],
                "content": {MEDIA_TYPE: {"schema": problem}},
            }
            _headers(responses[str(status)], {} if status == 500 else RATE)
        if self.method == "GET" and "{" in self.path:
            responses["304"] = {"description": "You have it already (If-None-Match)."}
        operation["responses"] = dict(sorted(responses.items()))
        return operation

    def _problems(self, operation: dict[str, Any]) -> list[int]:
        found = [400, 401, 403, 406, 429, 500]
        if "{" in self.path:
            found.append(404)
        if "requestBody" in operation:
            found += [409, 413, 415, 422]
        elif getattr(self.view, "refuses", False):
            found.append(422)
        if getattr(self.view, "can_be_gone", False):
            found.append(410)
        if self.method == "PATCH":
            found += [412, 428]
        return found


def _headers(response: dict[str, Any], headers: dict[str, tuple[str, str]]) -> None:
    for name, (kind, said) in headers.items():
        response.setdefault("headers", {})[name] = {"schema": {"type": kind}, "description": said}


def page_of(shape: type[serializers.Serializer]) -> type[serializers.Serializer]:
    """The shape of one page of a list."""
    name = shape.__name__.removesuffix("Shape")
    fields = {
        "next": serializers.URLField(
            allow_null=True, help_text="Address of the next page; null on the last."
        ),
        "results": shape(many=True),
    }
    return type(f"{name}Page", (serializers.Serializer,), fields)


def header(name: str, said: str, *, required: bool) -> OpenApiParameter:
    return OpenApiParameter(name, str, OpenApiParameter.HEADER, required=required, description=said)


KEY = OpenApiParameter(
    "Idempotency-Key", {"type": "string", "format": "uuid"}, OpenApiParameter.HEADER, required=True,
    description="A UUID made for this one thing: sent twice, it is done once and answered the same "
    "(then with the header Idempotency-Repeated).",
)  # fmt: skip
MAY_KEY = OpenApiParameter(
    "Idempotency-Key", {"type": "string", "format": "uuid"}, OpenApiParameter.HEADER,
    description="May be left out, because every item has a key of its own. With it, the whole "
    "answer is kept as soon as every item has its final one, and the exact repeat gets the same.",
)  # fmt: skip
MATCH = header("If-Match", "The ETag under which you read it.", required=True)
HAVE = header("If-None-Match", "The ETag that you have.", required=False)


def describe(name: str, summary: str, **more: Any) -> Any:
    """`name` is the operation's own, for programs that are generated from the description."""
    return extend_schema(operation_id=name, summary=summary, **more)


def describe_list(name: str, summary: str, view_shape: Any, query: Any, **more: Any) -> Any:
    return describe(name, summary, responses={200: page_of(view_shape)}, parameters=[query], **more)


def describe_one(name: str, summary: str, shape: Any, **more: Any) -> Any:
    return describe(
        name, summary, responses={200: shape}, parameters=[HAVE, *more.pop("parameters", [])],
        **more,
    )  # fmt: skip
