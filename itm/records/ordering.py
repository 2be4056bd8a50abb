"""Moments of a discharge that cannot have followed each other as they stand: start, foam, samples,
stop, readings. A clock or a typed time was wrong, and nobody knows which: said, never corrected."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from itm.core.figures import instant

# Times on paper and of two clocks agree to a minute at best: own choice, no source.
SAME = timedelta(minutes=1)


def foam_order(started_at: datetime | None, foam_seen_at: datetime | None, zone: str) -> str:
    """Whether foam was seen before the first valve moved, or on another day."""
    if started_at is None or foam_seen_at is None:
        return ""
    if foam_seen_at < started_at - SAME:
        return (
            f"Foam was noted at {instant(foam_seen_at, zone)}, before the first valve was moved "
            f"at {instant(started_at, zone)}: one of the two times is wrong."
        )
    if (apart := foam_seen_at - started_at) > timedelta(days=1):
        return (
            f"Foam was noted {apart.days} day{'s'[: apart.days > 1]} after the first valve was "
            f"moved at {instant(started_at, zone)}: a test day has no such pause, so one of the "
            "two times may be wrong."
        )
    return ""


def sample_order(
    taken_at: datetime | None,
    *,
    started_at: datetime | None,
    stopped_at: datetime | None,
    read_at: Sequence[datetime],
    zone: str,
) -> str:
    """`stopped_at` is the first step of stopping and flushing, `read_at` the readings that count.

    The gravest alone is said: one wrong time would else be told three times.
    """
    if taken_at is None:
        return ""
    caught = f"It stands as caught at {instant(taken_at, zone)}"
    if before_caught(read_at, taken_at):
        return (
            f"{caught}, and was read at {instant(min(read_at), zone)}, before that: one of the two "
            "times is wrong."
        )
    if started_at is not None and taken_at < started_at - SAME:
        return (
            f"{caught}, before the first valve was moved at {instant(started_at, zone)}: one of "
            "the two times is wrong."
        )
    if stopped_at is not None and taken_at > stopped_at + SAME:
        return (
            f"{caught}, after stopping and flushing began at {instant(stopped_at, zone)}: what "
            "flowed then is no solution of this flow point, or one of the two times is wrong."
        )
    return ""


def stopped_at(done_at: Iterable[datetime | None]) -> datetime | None:
    """Of the steps of stopping and flushing the first that was done."""
    return min((at for at in done_at if at is not None), default=None)


def before_caught(read_at: Iterable[datetime], taken_at: datetime | None) -> bool:
    return taken_at is not None and any(at < taken_at - SAME for at in read_at)
