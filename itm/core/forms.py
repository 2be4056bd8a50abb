"""What every form does with a refusal."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django import forms

from itm.core.errors import Conflict, Refused


class Refusing:
    """A form on which a service's refusal lands as a sentence, at its field where it has one."""

    @contextmanager
    def refusals(self: Any) -> Iterator[None]:
        try:
            yield
        except Refused as refusal:
            place = refusal.place if refusal.place in self.fields else None
            self.add_error(place, forms.ValidationError(refusal.sentence, code=refusal.code))
        except Conflict as conflict:
            self.add_error(None, forms.ValidationError(conflict.sentence, code=conflict.code))
