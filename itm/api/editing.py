"""A change of one thing: what was seen is what is changed, by the form and service of the page."""

from collections.abc import Callable, Mapping
from typing import Any

from django.db import transaction
from rest_framework import serializers
from rest_framework.response import Response

from itm.api.problems import Problem, fault, pointer
from itm.api.tags import require_match, tag_of
from itm.api.views import View
from itm.registry.services import require_own


def changed(
    view: View, shape: type[serializers.Serializer], takes: type[serializers.Serializer], *,
    find: Callable[[], Any], form: Callable[[Any], Any], what: str,
    write: Callable[[Any, dict[str, Any]], Any],
) -> Response:  # fmt: skip
    """A change of columns, by the form of the page. Raises what `settled` raises; Problem
    not_valid."""
    return settled(
        view, shape, takes, find=find, may=lambda row: require_own(view.actor, row, what),
        write=lambda row, values: write(row, checked(form(row), row, values)),
    )  # fmt: skip


def settled(
    view: View, shape: type[serializers.Serializer], takes: type[serializers.Serializer], *,
    find: Callable[[], Any], may: Callable[[Any], None],
    write: Callable[[Any, dict[str, Any]], Any],
) -> Response:  # fmt: skip
    """One transaction around the look and the change, so that nobody comes in between.

    Who may not see the row finds none, who may not change it is told whose it is, before anything
    else is judged. Raises Problem precondition_required, precondition_failed, not_valid.
    """
    with transaction.atomic():
        row = find()
        may(row)
        row = held(row, find)
        require_match(view.request, tag_of(view.shown(shape, row)))
        write(row, given(takes, view.request.data))
    representation = view.shown(shape, find())
    return Response(representation, headers={"ETag": tag_of(representation)})


def held(row: Any, find: Callable[[], Any]) -> Any:
    """The row as it stands now, held until the change is through."""
    type(row)._default_manager.select_for_update(of=("self",)).filter(pk=row.pk).first()
    return find()


def given(takes: type[serializers.Serializer], body: Any) -> dict[str, Any]:
    """What the body asks to be changed. Raises Problem not_valid."""
    shape = takes(data=body)
    refuse_unknown(shape, body)
    shape.is_valid(raise_exception=True)
    found: dict[str, Any] = shape.validated_data
    return found


def refuse_unknown(shape: Any, body: Any) -> None:
    """A key that nobody reads is a slip, and left unsaid it would look like a change."""
    if not isinstance(body, Mapping):
        return
    known = ", ".join(shape.fields)
    wrong = [
        fault(pointer(name), "unknown_key", f"“{name}” is not known here; the keys are {known}.")
        for name in body
        if name not in shape.fields
    ]
    if wrong:
        raise Problem(422, "not_valid", wrong[0]["detail"], wrong)


def checked(form_class: Any, row: Any, changes: Mapping[str, Any]) -> dict[str, Any]:
    """The values as the page's form cleans them: what is not named is sent as it stands."""
    blank = form_class(row=row)
    data = {}
    for name in blank.fields:
        value = blank[name].value()
        data[name] = "" if value is None else value
    data |= {name: "" if value is None else value for name, value in changes.items()}
    form = form_class({k: v for k, v in data.items() if v is not False}, row=row)
    if form.is_valid():
        values: dict[str, Any] = form.values
        return values
    wrong = [
        fault(pointer(name) if name != "__all__" else "", one["code"] or "invalid", one["message"])
        for name, found in form.errors.get_json_data().items()
        for one in found
    ]
    raise Problem(422, "not_valid", wrong[0]["detail"], wrong)
