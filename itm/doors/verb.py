"""What a verb is: on what it works, with which texts, and what it does."""

from collections.abc import Callable
from dataclasses import dataclass

from itm.doors.entry import Call, Done


@dataclass(frozen=True)
class Field:
    """One text of an entry, as the description of the interface tells it."""

    name: str
    means: str
    needed: bool = False
    units: tuple[str, ...] = ()  # the text is a number, a space and one of these
    choices: tuple[str, ...] = ()
    listed: bool = False  # a list of texts


@dataclass(frozen=True)
class Verb:
    """`of` names what the entry hangs on; empty for what stands by itself. `makes` is the kind of
    row that gets the entry's own key. `merges` where `opened` is compared field by field."""

    name: str
    means: str
    does: Callable[[Call], Done]
    of: str
    put: tuple[Field, ...] = ()
    makes: str = ""
    merges: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(field.name for field in self.put)
