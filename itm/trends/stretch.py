"""A page of a list that is never counted: what there is to show, and whether more follows."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from django.db.models import QuerySet

PAGE = 50
MOST_PAGES = 100  # who wants to see more than 5,000 lines narrows the list

T = TypeVar("T")


@dataclass(frozen=True)
class Stretch(Generic[T]):
    """Speaks to `parts/pager.html` like a page of Django's, but knows no last page."""

    object_list: Sequence[T]
    number: int
    has_next: bool

    @property
    def has_previous(self) -> bool:
        return self.number > 1

    @property
    def has_other_pages(self) -> bool:
        return self.has_next or self.has_previous

    @property
    def next_page_number(self) -> int:
        return self.number + 1

    @property
    def previous_page_number(self) -> int:
        return self.number - 1

    @property
    def is_cut(self) -> bool:
        """More may follow, but this list ends here."""
        return self.number == MOST_PAGES and len(self.object_list) == PAGE


def page_number(asked: str | int) -> int:
    """What an address asks for, made into a page that there can be."""
    try:
        number = int(asked)
    except ValueError:
        return 1
    return min(max(number, 1), MOST_PAGES)


def stretch(rows: QuerySet[Any], number: int) -> Stretch[Any]:
    """One query, one row more than is shown."""
    first = (number - 1) * PAGE
    found = list(rows[first : first + PAGE + 1])
    return Stretch(found[:PAGE], number, len(found) > PAGE and number < MOST_PAGES)
