"""What every address of the interface does: who asks, how often, what for, and one wording."""

from abc import ABC, abstractmethod
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.utils.cache import patch_vary_headers
from rest_framework import exceptions, serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from itm.accounts.actor import Actor
from itm.accounts.tokens import Bearer
from itm.api.asking import Asked, ListAsked, Pages, asked
from itm.api.auth import InScope, Tokens
from itm.api.bodies import LARGEST, Json
from itm.api.limits import AMinute, Left, stranger
from itm.api.problems import Problem
from itm.api.tags import tag_of, unchanged


class View(APIView):
    """`scopes` says which scope a method needs; `query` what may stand in the address."""

    authentication_classes = [Tokens]
    permission_classes = [InScope]
    throttle_classes = [AMinute]
    parser_classes = [Json]
    renderer_classes = [JSONRenderer]
    http_method_names = ["get", "head", "post", "patch"]
    scopes: ClassVar[dict[str, str]] = {"GET": "read"}
    query: ClassVar[type[Asked] | None] = None
    largest: ClassVar[int] = LARGEST
    refuses: ClassVar[bool] = False  # whether a look can be refused by a rule
    can_be_gone: ClassVar[bool] = False  # whether the store can have lost what is looked at
    left: Left | None = None

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        known = self.query if request.method in ("GET", "HEAD") else None
        self.asked = asked(request, known)

    def perform_authentication(self, request: Request) -> None:
        """Without a token that works the address is counted, and told in the same headers."""
        try:
            super().perform_authentication(request)
        except Problem:
            self._count_stranger(request)
            raise
        if request.auth is None:
            self._count_stranger(request)

    def _count_stranger(self, request: Request) -> None:
        self.left, fine = stranger(request)
        if not fine:
            raise exceptions.Throttled(wait=self.left.seconds)

    @property
    def bearer(self) -> Bearer:
        found: Any = self.request.auth
        return found

    @property
    def actor(self) -> Actor:
        return self.bearer.actor

    def finalize_response(self, request: Request, response: Any, *args: Any, **kw: Any) -> Any:
        response = super().finalize_response(request, response, *args, **kw)
        if self.left is not None:
            for name, value in self.left.headers().items():
                response[name] = value
        patch_vary_headers(response, ["Authorization"])
        response.setdefault("Cache-Control", "private, no-cache")
        return response

    def told(self, **context: Any) -> dict[str, Any]:
        """What a shape may ask for beside its row."""
        return {"request": self.request, "actor": self.actor, **context}

    def shown(self, shape: type[serializers.Serializer], row: Any, **context: Any) -> Any:
        return shape(row, context=self.told(**context)).data

    def tagged(self, representation: Any, **more: Any) -> Response:
        """One object with its ETag, or nothing where the reader has it already."""
        tag = tag_of(representation)
        if unchanged(self.request, tag):
            return Response(status=304, headers={"ETag": tag})
        return Response(representation, headers={"ETag": tag, **more})


class ListView(View, ABC):
    """Rows in pages. A subclass says the rows, and its `get` only describes itself."""

    shape: ClassVar[type[serializers.Serializer]]
    pages: ClassVar[Pages] = Pages()

    @abstractmethod
    def rows(self) -> QuerySet[Any]:
        """Those that the actor may see, narrowed as was asked."""

    def context(self) -> dict[str, Any]:
        """What the shape needs beside the rows."""
        return {}

    def dressed(self, found: list[Any]) -> list[Any]:
        """The rows of one page as the shape reads them."""
        return found

    def listed(self) -> Response:
        limit, cursor = self.asked["limit"], self.asked.get("cursor", "")
        found, after = self.pages.page(self.rows(), limit, cursor)
        following = None
        if after:
            given = self.request.query_params.copy()
            given["cursor"] = after
            following = self.request.build_absolute_uri(f"{self.request.path}?{given.urlencode()}")
        shape = self.shape(self.dressed(found), many=True, context=self.told(**self.context()))
        return Response({"next": following, "results": shape.data})


class Named(ListAsked):
    """Of every list of the registry."""

    find = serializers.CharField(
        max_length=80, default="", help_text="Every word stands in a name, tag or number."
    )


class Find(Named):
    """With what may be retired."""

    shown = serializers.ChoiceField(
        choices=["in_use", "retired", "all"], default="in_use",
        help_text="Whether rows that were retired are in the list.",
    )  # fmt: skip
