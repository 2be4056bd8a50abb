"""What stands on a sample bottle: on the screen, on printed labels and on the field sheet alike.

A label is looked for on its whole bench, so it says what tells its test from the others there: that
it is as left, and the tag of a proportioner which is not the first of that bench. The first stays
plain, and a test that comes later renames nothing that was printed or written before.
`static/field/labels.js` has the same rule.
"""

from collections.abc import Collection, Iterator
from itertools import count

LONGEST = 34  # characters before the number; a label holds 40
LONGEST_TAG = 12
AS_LEFT = "as_left"


def stem_of(flow_point: str, *, phase: str, tag: str = "") -> str:
    """Of all samples of a flow point in one test. `tag` only where another proportioner's test
    opened the bench."""
    told = f" {tag[:LONGEST_TAG]}" if tag else ""
    told += " as left" if phase == AS_LEFT else ""
    return f"{flow_point[: LONGEST - len(told)]}{told}"


def labels_from(stem: str, used: Collection[str]) -> Iterator[str]:
    """One after the other, without those that other bottles bear."""
    return (label for n in count(1) if (label := f"{stem} {n}") not in used)
