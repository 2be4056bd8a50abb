"""What lines of history tell of a deficiency, and how the news say it: what was found again, and in
which class it stood before and stands now."""

from itm.core.history import Change
from itm.findings.models import Deficiency
from itm.notices.models import News

K = News.Kind
KINDS = {
    "created": K.WRONG, "classed": K.WRONG_CLASSED, "assigned": K.WRONG_ASSIGNED,
    "found again": K.WRONG_AGAIN, "worse": K.WRONG_WORSE, "closed": K.WRONG_CLOSED,
    "ended": K.WRONG_CLOSED,
}  # fmt: skip


def of_deficiency(change: Change) -> list[News.Kind]:
    if change.verb == "created" and change.after.get("cause") == "left_out":
        return []  # the line of the restoration list tells it
    return [KINDS[change.verb]] if change.verb in KINDS else []


def detail(row: News, found: Deficiency) -> str:
    """As it stands now, and before it what the line itself changed."""
    if row.kind in (K.WRONG_WORSE, K.WRONG_CLASSED) and row.note:
        return f"{row.note}. {found.said}"
    return f"{found.classed}: {found.said}"
