"""The lines of the history folded: a digest over many of them, each fold over the one before.

A line alone can be changed or taken out by whoever lifts the guards. Writers pay nothing for a
fold: the clock makes it later, of lines that are some minutes old. A digest that left the house
with a mail shows a history whose lines and folds were both written anew.

Numbers come in no order on PostgreSQL: a long transaction commits lines whose numbers are lower
than those that were folded meanwhile, and one that is undone leaves a gap. So a fold holds the
numbers of its own lines, as runs, and a line that came late is in a later fold.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

from django.db import IntegrityError, models, transaction
from django.db.models import Q

from itm.core.history import Change

EVERY = timedelta(hours=1)  # own choice
RESTS = timedelta(minutes=10)  # own choice: longer than what people do at a page takes
MOST = 50_000  # lines of one fold, some seconds; own choice
AT_A_TIME = 2_000
LAPSE = timedelta(hours=3)  # without a fold, and the clock may stand still; own choice
LOOKED_BACK = 48  # folds in which a late line is looked for: two days; own choice
MOST_GAPS = 200
Run = tuple[int, int]  # the first and the last number of lines that follow each other


class Fold(models.Model):
    """A digest over lines of the history and over the fold before."""

    guard = "append_only"
    made_at = models.DateTimeField()
    runs = models.JSONField(help_text="Numbers of its lines: pairs of first and last")
    lines = models.PositiveIntegerField()
    top = models.BigIntegerField(help_text="The highest number folded so far")
    previous = models.CharField(max_length=64, unique=True, blank=True)
    digest = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.lines} lines, {self.digest[:8]}"


def newest() -> Fold | None:
    return Fold.objects.order_by("-pk").first()


def words() -> str:
    """The newest digest, for whatever leaves the house: two lines without an end. Empty where
    nothing is folded yet."""
    return told(newest())


def told(one: Fold | None) -> str:
    if one is None:
        return ""
    return (
        f"Digest over the history of {one.made_at.astimezone(UTC):%Y-%m-%d %H:%M} UTC (a copy kept "
        f"elsewhere shows whether that was changed later):\n{one.digest}"
    )


def fold(now: datetime) -> None:
    """For the clock. May run at any time, twice and beside itself."""
    last = newest()
    if last is not None and last.made_at > now - EVERY:
        return
    fold_now(now)


def fold_now(now: datetime) -> Fold | None:
    """What has rested and stands in no fold yet. None where there is nothing, or where another
    process was faster."""
    last = newest()
    loose = list(_loose(last, now - RESTS)[:MOST])
    if not loose:
        return None
    runs, previous = list(_runs(loose)), last.digest if last else ""
    here, digest = _taken(previous, runs)
    top = max(loose[-1], last.top if last else 0)
    try:
        with transaction.atomic():
            return Fold.objects.create(
                made_at=now, runs=runs, lines=here, top=top, previous=previous, digest=digest
            )
    except IntegrityError:
        return None


def _loose(last: Fold | None, before: datetime) -> Any:
    """Numbers of lines in no fold, the lowest first. Below the top only what came late is, and it
    is looked for where a gap was, so that no look goes over the whole history."""
    where = Q() if last is None else Q(pk__gt=last.top)
    for run in _gaps():
        where |= Q(pk__range=run)
    rows = Change.objects.filter(where, at__lt=before)
    return rows.order_by("pk").values_list("pk", flat=True)


def _gaps() -> list[Run]:
    """Numbers between the runs of the last folds, the newest ones."""
    folds = list(Fold.objects.order_by("-pk")[:LOOKED_BACK])
    runs = sorted((first, final) for one in folds for first, final in one.runs)
    out = [
        (before[1] + 1, after[0] - 1)
        for before, after in pairwise(runs)
        if after[0] > before[1] + 1
    ]
    return out[-MOST_GAPS:]


def _runs(numbers: Iterable[int]) -> Iterator[Run]:
    first = last = None
    for number in numbers:
        if first is None or last is None:
            first = last = number
        elif number == last + 1:
            last = number
        else:
            yield first, last
            first = last = number
    if first is not None and last is not None:
        yield first, last


def _taken(previous: str, runs: Iterable[Run]) -> tuple[int, str]:
    """How many lines there are in the runs, and SHA-256, hexadecimal, over the digest before and
    the text of each."""
    here, of = 0, hashlib.sha256(previous.encode())
    for run in runs:
        rows = Change.objects.filter(pk__range=run).order_by("pk")
        for line in rows.iterator(chunk_size=AT_A_TIME):
            here += 1
            of.update(b"\n" + _text(line))
    return here, of.hexdigest()


def _text(line: Change) -> bytes:
    """All that the line says, by one spelling for every database."""
    said = [
        line.pk, line.at.astimezone(UTC).isoformat(), str(line.person_key or ""), line.person,
        line.organisation, line.via, line.model, str(line.object_key or ""), line.verb,
        line.before, line.after, line.note,
    ]  # fmt: skip
    return json.dumps(said, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


# Taken again -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Fault:
    """`broken`: a line or a fold was changed or taken out. `late`, `unfolded`: no fault by
    itself."""

    kind: str
    place: str
    sentence: str


def how_many() -> int:
    return Fold.objects.count()


def verify(now: datetime) -> Iterator[Fault]:
    """Each fold taken again over the lines that it names, and what stands in none of them."""
    previous, top, folded = "", 0, 0
    made_at: datetime | None = None
    for one in Fold.objects.order_by("pk").iterator():
        place = f"history, fold of {one.made_at:%Y-%m-%d %H:%M}"
        if one.previous != previous:
            yield Fault("broken", place, "The fold before it is gone or was changed.")
        here, digest = _taken(one.previous, one.runs)
        if here != one.lines:
            yield Fault("broken", place, f"Of its {one.lines} lines {one.lines - here} are gone.")
        elif digest != one.digest:
            yield Fault("broken", place, "A line of it, or the fold itself, was changed.")
        late = [run for run in one.runs if run[0] <= top]
        if late and made_at is not None:
            yield Fault(
                "late", place,
                f"Lines {_said(late)} came after the fold of {made_at:%Y-%m-%d %H:%M}, though "
                "their numbers are lower: by a deed that took long, or somebody put them in.",
            )  # fmt: skip
        previous, top, made_at, folded = one.digest, one.top, one.made_at, folded + here
    below = Change.objects.filter(pk__lte=top).count()
    if below > folded:
        yield Fault(
            "late", "history",
            f"{below - folded} lines stand among folded ones and in no fold: they came by a deed "
            "that took long, or somebody put them in.",
        )  # fmt: skip
    if made_at is None or made_at < now - LAPSE:
        yield from _unfolded(now, top, made_at)


def _unfolded(now: datetime, top: int, made_at: datetime | None) -> Iterator[Fault]:
    """What has rested for long, with no fold in all that time: whoever changes it is not found."""
    loose = Change.objects.filter(pk__gt=top, at__lt=now - LAPSE).count()
    if not loose:
        return
    said = f"{loose} lines that rested stand in no fold: "
    if made_at is None:
        said += (
            "there is none at all. An installation that was upgraded or brought in has none until "
            "its clock has run; elsewhere the folds are gone, or the clock stands still."
        )
    else:
        said += (
            f"the last one was made on {made_at:%Y-%m-%d %H:%M} UTC. The clock may stand still "
            "(beat, or the server of the small set-up)."
        )
    yield Fault("unfolded", "history", said)


def _said(runs: list[Run]) -> str:
    return ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in runs[:5])
