"""Two people, one form: different fields merge, the same field twice is a conflict.

A form carries for each field the text it was opened with. Whatever the person left as it was is
none of their business and stays as it stands now, whoever wrote it.
"""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from itm.core.errors import Conflict
from itm.core.history import Change, Tracked
from itm.core.quantities import Quantity


class Crossed(Conflict):
    """Somebody else changed the same fields in between. `places` holds a sentence for each, `now`
    what stands there."""

    code = "crossed"

    def __init__(self, places: Mapping[str, str], now: Mapping[str, str]) -> None:
        super().__init__(" ".join(places.values()))
        self.places, self.now = dict(places), dict(now)


def shown(row: Tracked, name: str) -> str:
    """A field of the row as text: what was typed, where that is kept."""
    return text(getattr(row, f"{name}_typed", getattr(row, name)))


def put(row: Tracked, entered: Mapping[str, Any], opened: Mapping[str, str] | None = None) -> None:
    """Set on the row what the person changed; without `opened` everything entered counts.

    The caller holds the row's lock and saves it. Raises Crossed, and then sets nothing.
    """
    for name, value in changed(row, entered, opened).items():
        _set(row, name, value)


def changed(
    row: Tracked, entered: Mapping[str, Any], opened: Mapping[str, str] | None = None
) -> dict[str, Any]:
    """What of it the person changed. Raises Crossed."""
    wanted, crossed = {}, {}
    for name, value in entered.items():
        now, mine = shown(row, name), text(value)
        before = now if opened is None else text(opened.get(name, now))
        if mine in (now, before):
            continue
        if now != before:
            crossed[name] = _sentence(row, name, now, mine)
        wanted[name] = value
    if crossed:
        raise Crossed(crossed, {name: shown(row, name) for name in crossed})
    return wanted


def say(row: Tracked, name: str, words: str, seen: Mapping[str, str] | None = None) -> None:
    """Set what may be said once, such as why a row is withdrawn: other words than those that stand
    are Crossed, until a person has `seen` those."""
    put(row, {name: words}, {name: "", **(seen or {})})


def require_seen(row: Tracked, seen: Mapping[str, str] | None, *names: str) -> None:
    """An undo undoes what the person saw. Where nothing stands any more, it is undone already.

    Raises Crossed where something else stands there by now.
    """
    other = [name for name in names if not _as_seen(shown(row, name), (seen or {}).get(name))]
    if other:
        sentence = (
            f"{_who(row, other[0])} noted something else here since you looked, so nothing was "
            "taken back: look at what stands there now, then say whether that is to go."
        )
        raise Crossed({other[0]: sentence}, {name: shown(row, name) for name in other})


def _as_seen(now: str, seen: str | None) -> bool:
    return seen is None or now in ("", seen) or same_moment(now, seen)


def same_moment(one: str, other: str) -> bool:
    """A device writes the same moment in another way."""
    try:
        return datetime.fromisoformat(one) == datetime.fromisoformat(other)
    except (ValueError, TypeError):
        return False


def _set(row: Tracked, name: str, value: Any) -> None:
    if hasattr(row, f"{name}_typed"):
        setattr(row, name, value.si if value is not None else None)
        setattr(row, f"{name}_typed", value.typed if value is not None else "")
    else:
        setattr(row, name, value)


def text(value: Any) -> str:
    """A value as it is compared: what was typed, where that is kept."""
    if value is None:
        return ""
    if isinstance(value, Quantity):
        return value.typed
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, list):
        return "\n".join(value)
    return str(value).replace("\r\n", "\n")


def _sentence(row: Tracked, name: str, now: str, mine: str) -> str:
    return (
        f"{_who(row, name)} wrote “{now or 'nothing'}” here while your page was open; you wrote "
        f"“{mine or 'nothing'}”. Nothing was overwritten: save again to put yours in its place."
    )


def _who(row: Tracked, name: str) -> str:
    column = f"{name}_typed" if hasattr(row, f"{name}_typed") else name
    changes = Change.objects.filter(
        model=row._meta.label, object_key=row.key, after__has_key=column
    )
    last = changes.order_by("-pk").first()
    return last.person if last else "Somebody else"
