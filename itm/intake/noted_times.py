"""When a row of a table was noted, and since when and why it does not count: for readings and
values alike."""

from collections.abc import Callable
from datetime import date, datetime
from zoneinfo import ZoneInfo

from itm.intake.tables.moments import Moment, NoInstant, instant

Tell = Callable[[str, str, str, str], None]  # our column, code, sentence, what would be right


def instant_of(
    name: str, moment: Moment | None, *, on: date, zone: str, now: datetime | None, tell: Tell
) -> datetime | None:
    """A cell as an instant on the clock of the site; a time alone is of the day `on`.

    None where nothing stands there, or what was told. Codes: no_such_time, time_twice, not_yet.
    """
    if moment is None:
        return None
    try:
        at = instant(moment, day=on, zone=ZoneInfo(zone))
    except NoInstant as none:
        fix = "Correct it, or write its offset from UTC, such as 01:30+01:00."
        tell(name, none.code, none.sentence, fix)
        return None
    if now is not None and at > now:
        sentence = f"{moment.words} has not come yet on the clock of the site."
        tell(name, "not_yet", sentence, "Correct the time.")
    return at


def judge_aside(
    what: str, reason: str, at: datetime | None, since: datetime | None, tell: Tell
) -> None:
    """Codes: reason_missing, aside_early. `what` is the thing, `since` when it was noted."""
    if not reason and at is not None:
        sentence = f"It is not said why this {what} was set aside."
        tell("set_aside_at", "reason_missing", sentence, "Add the reason, or empty the cell.")
    elif reason and at is not None and since is not None and at < since:
        tell(
            "set_aside_at", "aside_early", "It was set aside before it was read.",
            "Correct one of the two times.",
        )  # fmt: skip
