"""Asking a row's own rules before it is saved, so that a person reads their sentence."""

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import models

from itm.core.errors import Refused


def require_valid(row: models.Model, place: str = "") -> None:
    """`place` names the field that is answerable for what concerns the row as a whole.

    Raises Refused not_valid, at the field that was typed.
    """
    try:
        row.full_clean()
    except ValidationError as error:
        field, sentences = next(iter(error.message_dict.items()))
        where = place if field == NON_FIELD_ERRORS else field.removesuffix("_typed")
        raise Refused("not_valid", " ".join(sentences), where) from error
