"""Rows of programmes in words, the same on every page."""

from itm.core.figures import day
from itm.schedule.applies import split
from itm.schedule.due import Window
from itm.schedule.models import Consent, Duty, Requirement

UNITS = {
    "months": ("month", "months"),
    "days": ("day", "days"),
    "calendar_months": ("calendar month", "calendar months"),
    "calendar_weeks": ("calendar week", "calendar weeks"),
}
NAMES = {"system": "foam system", "site": "site", "concentrate": "concentrate"}


def count(number: int, unit: str) -> str:
    one, many = UNITS[unit]
    return f"{number} {one if number == 1 else many}"


def how_often(window: Window) -> str:
    """“every 12 months, 9 to 15 months after the last”."""
    if window.unit.startswith("calendar"):
        one, _ = UNITS[window.unit]
        return (
            f"once in every {one}"
            if window.interval == 1
            else (f"once in every {count(window.interval, window.unit)}")
        )
    every = f"every {count(window.interval, window.unit)}"
    if window.earliest == 0 and window.latest == window.interval:
        return f"{every} at the latest"
    latest = count(window.latest, window.unit)
    return f"{every}, {window.earliest} to {latest} after the last"


def when(row: Requirement, window: Window | None) -> str:
    if window is not None:
        words = how_often(window)
        if row.condition:
            words += f", for {row.get_condition_display()}"
        return words
    if row.by_date is not None:
        return f"once, by {day(row.by_date)}"
    if not row.events:
        return "no interval given"
    events = [str(Requirement.Event(event).label) for event in row.events]
    days = row.within_days or 0
    if days < 0:
        return f"{count(-days, 'days')} before {listed(events)}"
    return f"after {listed(events)}, " + (
        f"within {count(days, 'days')}" if days else "the same day"
    )


def until(duty: Duty) -> str:
    """“from 1 Nov to 30 Nov 2026”, or what brought it on."""
    if duty.cause == Duty.Cause.EVENT:
        return f"since {day(duty.counts_from)}, latest {day(duty.latest_on)}"
    if duty.cause == Duty.Cause.ONCE:
        return f"once, by {day(duty.latest_on)}"
    return f"{day(duty.window_opens_on)} to {day(duty.latest_on)}"


def listed(words: list[str]) -> str:
    return " or ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def applies_to(row: Requirement) -> str:
    """“tank: bladder”, “every proportioner”."""
    out = []
    for kind, variety in map(split, row.applies_to):
        name = NAMES.get(kind, kind.replace("_", " "))
        out.append(f"every {name}" if variety == "any" else f"{name}: {variety.replace('_', ' ')}")
    return "; ".join(out)


def wants(row: Requirement) -> str:
    return "; ".join(
        f"{want['label']}{f', {unit}' if (unit := want.get('unit')) else ''}"
        for want in row.evidence
    )


def disputed(consent: Consent) -> str:
    """What rests on a consent that its authority disputes."""
    row = consent.requirement
    less = (
        f"“{row.words or row}” is asked for less" if row else f"{consent.adoption.programme} ends"
    )
    return (
        f"{less} by what was noted of {consent.authority.name}: {consent.what} ({consent.paper}). "
        f"It is {consent.stands.rstrip('.')}."
    )
