"""What may be asked in an address: named, described, checked, and refused where it is unknown."""

from typing import Any, Generic, TypeVar

from django.core import signing
from django.db.models import Model, Q, QuerySet
from rest_framework import serializers
from rest_framework.request import Request

from itm.api.problems import Problem, fault, faults

M = TypeVar("M", bound=Model)
USUAL, MOST = 50, 100  # rows of a page
SALT = "itm.api.cursor"


class Asked(serializers.Serializer):
    """The parameters of one address; those of a list inherit from `ListAsked`."""


class ListAsked(Asked):
    limit = serializers.IntegerField(
        min_value=1, max_value=MOST, default=USUAL, help_text="How many rows at most."
    )
    cursor = serializers.CharField(
        max_length=400, required=False,
        help_text="Where to go on: it stands in `next` of the page before. Never made by hand.",
    )  # fmt: skip


def asked(request: Request, shape: type[Asked] | None) -> dict[str, Any]:
    """The parameters as the shape reads them. Raises Problem bad_query with a fault for each."""
    given = request.query_params
    known = shape(data=given.dict()) if shape else None
    names = list(known.fields) if known else []
    wrong = []
    for name in given:
        if name not in names:
            others = f"those it knows are {', '.join(names)}" if names else "it knows none"
            wrong.append(fault("", "unknown_parameter", f"“{name}” is not known here; {others}."))
        elif len(given.getlist(name)) > 1:
            wrong.append(fault("", "repeated_parameter", f"“{name}” is given twice."))
    if known and not known.is_valid():
        wrong += [
            fault("", one["code"], f"“{one['pointer'].strip('/')}”: {one['detail']}")
            for one in faults(known.errors)
        ]
    if wrong:
        said = wrong[0]["detail"] if len(wrong) == 1 else f"{len(wrong)} parameters are wrong."
        raise Problem(400, "bad_query", said, wrong)
    found: dict[str, Any] = dict(known.validated_data) if known else {}
    return found


class Pages(Generic[M]):
    """A list in pages by key: what comes in while somebody reads moves no page.

    `order` names the columns, a minus turns one round; the primary key closes it, so that it is
    total. A cursor is signed: it holds values of our own columns and nobody writes one.
    """

    def __init__(self, *order: str) -> None:
        last = "-pk" if order and order[-1].startswith("-") else "pk"
        self.order = (*order, last)

    def page(self, rows: QuerySet[M], limit: int, cursor: str = "") -> tuple[list[M], str]:
        """The rows, and where the next page begins; empty when this is the last."""
        rows = rows.order_by(*self.order)
        if cursor:
            rows = rows.filter(self._after(self._read(cursor)))
        found = list(rows[: limit + 1])
        more = len(found) > limit
        return found[:limit], self._write(found[limit - 1]) if more else ""

    def _write(self, row: M) -> str:
        values = [getattr(row, name.lstrip("-")) for name in self.order]
        plain = [value if isinstance(value, int) else str(value) for value in values]
        return signing.dumps([*self.order, *plain], salt=SALT, compress=True)

    def _read(self, cursor: str) -> list[Any]:
        try:
            *held, _ = parts = signing.loads(cursor, salt=SALT)
        except (signing.BadSignature, ValueError) as error:
            raise _stale() from error
        if tuple(held[: len(self.order)]) != self.order:
            raise _stale()
        values: list[Any] = parts[len(self.order) :]
        return values

    def _after(self, values: list[Any]) -> Q:
        """Rows that come later in the order: a tie in the first columns is broken by the next."""
        out, tied = Q(), Q()
        for name, value in zip(self.order, values, strict=True):
            column = name.lstrip("-")
            way = "lt" if name.startswith("-") else "gt"
            out |= tied & Q(**{f"{column}__{way}": value})
            tied &= Q(**{column: value})
        return out


def _stale() -> Problem:
    said = "This cursor belongs to another list or is cut off; begin again without it."
    return Problem(400, "bad_query", said, [fault("", "bad_cursor", said)])
