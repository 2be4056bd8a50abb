"""What a mail at once is about, whether it still is so, and its words as a reader may see them."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db.models import Q

from itm.accounts.actor import Actor
from itm.core.figures import day, instant
from itm.core.letters import address
from itm.findings.models import Deficiency, Impairment, Order
from itm.findings.queries import PLACE, where
from itm.findings.wording import named
from itm.notices import one_deed
from itm.notices.models import News
from itm.records.models import RestorationLine

K = News.Kind
WRONG = (K.WRONG, K.WRONG_AGAIN, K.WRONG_WORSE, K.WRONG_CLASSED)
Severity = Deficiency.Severity
OPEN = Q(closed_at=None)
# What is found again matters at once where its class was lowered from an impairment before.
ASKED = Q(class_asked_on__isnull=False, proposed=Severity.IMPAIRMENT)
COUNTS = OPEN & (Q(severity=Severity.IMPAIRMENT) | ASKED)
LEFT = Q(outcome="left_out", followed_by=None)
Told = tuple[str, str] | None


def _by(column: str, model: Any, **still: Any) -> Callable[[set[UUID]], dict[UUID, str]]:
    def found(keys: set[UUID]) -> dict[UUID, str]:
        rows = model.objects.filter(**{f"{column}__in": keys}, **still)
        return dict.fromkeys(rows.values_list(column, flat=True), "")

    return found


def _wrong(keys: set[UUID]) -> dict[UUID, str]:
    rows = Deficiency.objects.filter(COUNTS, key__in=keys)
    return dict.fromkeys(rows.values_list("key", flat=True), "")


STILL: tuple[tuple[tuple[News.Kind, ...], Callable[[set[UUID]], dict[UUID, str]]], ...] = (
    ((K.OUT,), _by("visit__key", Impairment, ended_at=None, taken_back_at=None)),
    ((K.TAKEN_OUT,), _by("key", Impairment, ended_at=None, taken_back_at=None)),
    ((K.LEFT_OUT,), _by("visit__key", RestorationLine, outcome="left_out", followed_by=None)),
    ((K.ORDERED,), _by("key", Order, met_at=None, withdrawn_at=None)),
    (WRONG, _wrong),
)
KINDS = {kind for kinds, _ in STILL for kind in kinds}


def still_so(rows: Iterable[News]) -> dict[UUID, str]:
    """Keys of the lines of which somebody is to know at once, each with what names its promise.

    A few queries for each sort, however many lines. What one deed found at one site is one mail:
    its lines share the name of a promise. Whether it still is so decides, and no hour: a worker
    that was down for days must not keep an impairment of today from anybody.
    """
    here = [row for row in rows if row.kind in KINDS]
    out: dict[UUID, str] = {}
    entered = one_deed.moments(here)
    for kinds, ask in STILL:
        some = [row for row in here if row.kind in kinds]
        found = ask({row.thing for row in some}) if some else {}
        for row in some:
            if row.thing in found:
                at = entered.get(row.key)
                how = "again" if row.kind in one_deed.AGAIN else "wrong"
                own = f"{how} {row.site_id} {at.timestamp():.6f}" if at else str(row.key)
                out[row.key] = own
    return out


def words(actor: Actor, row: News) -> Told:
    """Subject and body as this reader may see it; None where it is not the reader's, or over."""
    if not News.objects.visible_to(actor).filter(pk=row.pk).exists():
        return None
    if row.kind == K.ORDERED:
        return _of_order(actor, row)
    return _of_wrong(actor, row) if row.kind in WRONG else _of_impairment(actor, row)


def _of_impairment(actor: Actor, row: News) -> Told:
    by = {"key": row.thing} if row.kind == K.TAKEN_OUT else {"visit__key": row.thing}
    rows = Impairment.objects.visible_to(actor).select_related("site", "visit", "organisation")
    found = rows.filter(**by).first()
    if found is None or not found.is_open:
        return None
    systems = ", ".join(str(one.system) for one in found.systems.select_related("system"))
    left = ""
    if row.kind == K.LEFT_OUT:
        lines = RestorationLine.objects.filter(LEFT, visit=found.visit_id).order_by("position")
        left = "; ".join(_line(f"{one.text} ({one.reason})") for one in lines)
        if not left:
            return None
        left = f"Left so after the test: {left}.\n"
    body = (
        f"{found.site.name}: {systems or 'systems that are not named'} out of service since "
        f"{instant(found.started_at, found.site.time_zone)}.\n{left}"
        f"Why: {_line(found.why)}.\n"
        f"Taken out by {found.started_by}, {found.organisation.name}. Coordinator: "
        f"{_line(found.coordinated_by)}.\n\n"
        "The hazard is not protected as designed. Local codes come first.\n\n"
        f"How it stands: {address('impairment', found.key)}\n"
    )
    return f"{'Left out' if left else 'Out'} of service: {found.site.name}", body


def _of_order(actor: Actor, row: News) -> Told:
    rows = Order.objects.visible_to(actor).select_related("site", "organisation")
    found = rows.filter(Order.OPEN, key=row.thing).first()
    if found is None:
        return None
    body = (
        f"{found.organisation.name} orders at {found.site.name}, by {day(found.due_on)}:\n"
        f"{_line(found.words)}\n\nThe order: {address('order', found.key)}\n"
    )
    return f"Order of an authority: {found.site.name}", body


def _of_wrong(actor: Actor, row: News) -> Told:
    """All of the deed that still is so, also where what this line tells no longer is."""
    at = one_deed.moments([row]).get(row.key)
    rows = Deficiency.objects.visible_to(actor).filter(COUNTS).select_related(
        *PLACE, "organisation", "inspection_line"
    )  # fmt: skip
    own = rows.filter(key=row.thing)
    if at is not None:
        own = rows.filter(pk__in=one_deed.found_by(row, at).values("pk"))
    same = list(own.order_by("pk"))
    if not same:
        return None
    classes = one_deed.classes_of(row, [one.key for one in same], at)
    said = []
    for one in same:
        said.append(f"{one.site.name}: {where(one)}: {_line(named(one)).rstrip('.')}.")
        if one.key in classes:
            said.append(f"Class: {_line(classes[one.key]).rstrip('.')}.")
        elif one.class_asked_on:
            said.append(
                f"It stands as {one.get_severity_display().lower()}, because its class was lowered "
                "before this was found. Somebody qualified looks at it and says the class once "
                "more."
            )
    body = "\n".join([
        *said,
        *dict.fromkeys(_found(one) for one in same),
        "",
        "The system may not protect as designed until it is put right. Local codes come first.",
        "",
        *(f"How it stands: {address('deficiency', one.key)}" for one in same),
        "",
    ])  # fmt: skip
    return f"{_subject(row, same, classes)}: {same[0].site.name}", body


def _found(one: Deficiency) -> str:
    by = f", {one.organisation.name}" if one.organisation else ""
    return f"Found on {day(one.again_on or one.found_on)}; opened by {one.opened_by}{by}."


def _subject(row: News, same: Sequence[Deficiency], classes: Mapping[UUID, str]) -> str:
    """By the worst that the mail tells."""
    if row.kind == K.WRONG_CLASSED:
        return "Now an impairment"
    if row.kind == K.WRONG:
        return "Impairment found"
    if classes:
        return "Found again and worse, an impairment"
    if all(one.class_asked_on for one in same):
        return "Found again after its class was lowered"
    return "Impairment found again"


def _line(said: str) -> str:
    """What a person typed makes no line of its own, which could speak for this program."""
    return " ".join(said.split()) or "not noted"
