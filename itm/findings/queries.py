"""What a person may read of findings, and what stands beside the things that they are about."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import (
    Case,
    Count,
    Exists,
    F,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)  # fmt: skip
from django.db.models.functions import Coalesce

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.findings.models import (
    Answer,
    ClockAdoption,
    Deficiency,
    Impairment,
    NoticeClock,
    Order,
    Question,
    Step,
)
from itm.findings.models.deficiencies import FIXES, ORIGINS
from itm.records.models import ConcentrateCheck, Notice, ProportioningTest, Record, Visit
from itm.records.models.kept import LINKS as RECORD_LINKS
from itm.registry.finding import Wanted, matching, one
from itm.registry.models import Equipment, FoamSystem, Proportioner, Site, Tank

PLACE = ("site__owner", "system", "proportioner__system", "tank", "equipment", "assigned")
STANDS = (("open", "open"), ("proposed", "open, a fix is proposed"), ("closed", "closed"))
CLASSES = [(str(value), label) for value, label in Deficiency.Severity.choices]
CAUSES = Deficiency.Cause.choices
HEAD = (
    "What is wrong", "Found again on", "As found then", "Class", "Class asked for again since",
    "Proposed class", "Site", "At", "Found on", "Opened by", "Days open",
    "Sees to it", "Contractor", "Target", "Stands", "Closed on", "Closed by",
)  # fmt: skip


def proposals() -> QuerySet[Step]:
    return Step.objects.filter(deficiency=OuterRef("pk"), verb=Step.Verb.PROPOSED)


def all_deficiencies(actor: Actor) -> QuerySet[Any]:
    told = Step.objects.filter(deficiency=OuterRef("pk"), verb=Step.Verb.TOLD)
    rows = Deficiency.objects.visible_to(actor).select_related(*PLACE)
    return rows.annotate(proposes=Exists(proposals()), was_told=Exists(told))


def deficiencies(actor: Actor, wanted: Wanted) -> QuerySet[Any]:
    """Open before closed, then the worst and of these the oldest, unless another order is asked."""
    rows = all_deficiencies(actor)
    narrow = dict(wanted.narrow)
    stands = narrow.pop("stands", "")
    if stands:
        rows = rows.filter(closed_at__isnull=stands != "closed")
    if stands == "proposed":
        rows = rows.filter(proposes=True)
    columns = {"class": "severity", "cause": "cause", "site": "site__key"}
    rows = rows.filter(**{columns[name]: value for name, value in narrow.items()})
    find_in = ("words", "site__name", "responsible", "assigned__name", "proportioner__tag",
               "tank__tag", "system__name", "equipment__tag")  # fmt: skip
    rows = matching(rows, wanted.find, find_in)
    sorts = {
        "class": ("severity", "opened_at"), "site": ("site__name", "severity"),
        "found_on": ("found_on",), "target_on": ("target_on",), "responsible": ("responsible",),
    }  # fmt: skip
    name = wanted.sort.removeprefix("-")
    if name not in sorts:
        last = Case(When(closed_at=None, then=Value(0)), default=Value(1))
        return rows.order_by(last, "severity", "opened_at", "pk")
    down = wanted.sort.startswith("-")
    order = [
        F(column).desc(nulls_last=True) if down else F(column).asc(nulls_last=True)
        for column in sorts[name]
    ]
    return rows.order_by(*order, "pk")


def deficiency(actor: Actor, key: UUID) -> Deficiency:
    rows = all_deficiencies(actor).select_related(
        *PLACE, "organisation", *ORIGINS, *FIXES, "repair", "inspection_line__inspection",
        "fixed_by_inspection_line__inspection", "restoration_line__visit",
        "fixed_by_restoration_line__visit", "duty__requirement",
    )  # fmt: skip
    return one(rows, "deficiency", key)


def steps_of(finding: Deficiency | Impairment) -> QuerySet[Step]:
    rows = finding.steps.select_related(
        *ORIGINS,
        "inspection_line__inspection",
        "restoration_line__visit",
        "photo",
        "clock",
        "duty__requirement",
    )
    return rows.order_by("at", "pk")


def step(actor: Actor, found: Deficiency, key: UUID) -> Step:
    return one(found.steps.all(), "step", key)


def where(row: Deficiency) -> str:
    """The place in words, from a row that came with its things."""
    if row.proportioner is not None:
        return f"{row.proportioner.system}, {row.proportioner}"
    if row.tank is not None:
        return f"tank {row.tank}"
    if row.equipment is not None:
        return str(row.equipment)
    return str(row.system) if row.system is not None else "the whole site"


def closed_on(row: Deficiency) -> date | None:
    """On the calendar of the site, as `found_on` is."""
    return date_at(row.site.time_zone, row.closed_at) if row.closed_at else None


def days_open(row: Deficiency, today: date) -> int:
    return max(((closed_on(row) or today) - row.found_on).days, 0)


def table(rows: QuerySet[Deficiency], today: date) -> Iterator[list[str | int]]:
    """All of them: who takes a table along as proof is not to miss the closed ones at its end."""
    return (
        [
            row.words, row.again_on.isoformat() if row.again_on else "", row.again_words,
            row.get_severity_display(),
            row.class_asked_on.isoformat() if row.class_asked_on else "",
            row.get_proposed_display(), row.site.name,
            where(row), row.found_on.isoformat(), row.opened_by, days_open(row, today),
            row.responsible, str(row.assigned or ""),
            row.target_on.isoformat() if row.target_on else "", row.get_outcome_display(),
            closed.isoformat() if (closed := closed_on(row)) else "", row.closed_by,
        ]
        for row in rows.iterator(chunk_size=1000)
    )  # fmt: skip


# Beside a thing -----------------------------------------------------------------------------------

Thing = Site | FoamSystem | Proportioner | Tank | Equipment
KINDS: dict[str, Any] = {
    "system": FoamSystem, "proportioner": Proportioner, "tank": Tank, "equipment": Equipment,
}  # fmt: skip


def about(thing: Thing) -> Q:
    """Deficiencies that a page of this thing names: its own, and those of what belongs to it."""
    if isinstance(thing, Site):
        return Q(site=thing)
    if isinstance(thing, FoamSystem):
        own = Q(proportioner__system=thing) | Q(system=thing) | Q(equipment__system=thing)
        feeds = Tank.objects.filter(proportioners__system=thing).values("pk")
        return own | Q(tank__in=feeds) | Q(equipment__tank__in=feeds)
    if isinstance(thing, Proportioner):
        return Q(proportioner=thing) | Q(tank=thing.tank_id)
    if isinstance(thing, Tank):
        return Q(tank=thing) | Q(equipment__tank=thing)
    return Q(equipment=thing)


def open_at(actor: Actor, thing: Thing) -> list[Deficiency]:
    rows = all_deficiencies(actor).filter(about(thing), closed_at=None)
    return list(rows.order_by("severity", "opened_at", "pk"))


def impairments_at(actor: Actor, thing: Thing) -> list[Impairment]:
    """Those that last, at the site or at the system that the thing belongs to."""
    rows = all_impairments(actor).filter(ended_at=None, taken_back_at=None)
    if isinstance(thing, Site):
        rows = rows.filter(site=thing)
    else:
        system = {
            FoamSystem: lambda: Q(systems__system=thing),
            Proportioner: lambda: Q(systems__system__proportioners=thing),
            Tank: lambda: Q(systems__system__proportioners__tank=thing),
            Equipment: lambda: Q(systems__system__equipment=thing),
        }[type(thing)]()
        rows = rows.filter(system & Q(systems__back_at=None)).distinct()
    return list(rows)


def of_record(actor: Actor, record: Record) -> list[Any]:
    """What this record opened, found again or closed; `last_said` is what it said of each last."""
    link = RECORD_LINKS[type(record)]
    named = Q(**{link: record}) | Q(**{f"fixed_by_{link}": record})
    steps = Step.objects.filter(**{link: record})
    rows = all_deficiencies(actor).filter(named | Q(pk__in=steps.values("deficiency")))
    last = steps.filter(deficiency=OuterRef("pk")).order_by("-pk").values("verb")[:1]
    rows = rows.annotate(last_said=Subquery(last))
    return list(rows.order_by("severity", "pk"))


# Impairments --------------------------------------------------------------------------------------


def all_impairments(actor: Actor) -> QuerySet[Impairment]:
    """Also those that were started by mistake: what was seen once stays to be read."""
    rows = Impairment.objects.visible_to(actor)
    rows = rows.select_related("site__owner", "visit__contractor", "organisation", "deficiency")
    return rows.prefetch_related("systems__system")


def impairments(actor: Actor, wanted: Wanted) -> QuerySet[Impairment]:
    """Those that last first, then the newest."""
    rows = all_impairments(actor)
    narrow = dict(wanted.narrow)
    stands = narrow.pop("stands", "")
    if stands == "taken_back":
        rows = rows.exclude(taken_back_at=None)
    elif stands:
        rows = rows.filter(ended_at__isnull=stands == "open", taken_back_at=None)
    rows = rows.filter(**({"site__key": narrow["site"]} if "site" in narrow else {}))
    rows = matching(
        rows, wanted.find,
        ("site__name", "reason", "visit__impairment_reason", "coordinator", "visit__coordinator"),
    )  # fmt: skip
    sorts = {"site": "site__name", "started_at": "started_at", "ended_at": "ended_at"}
    name = wanted.sort.removeprefix("-")
    if name not in sorts:
        over = Coalesce("ended_at", "taken_back_at")
        return rows.order_by(over.desc(nulls_first=True), "-started_at", "-pk")
    column = F(sorts[name])
    down = wanted.sort.startswith("-")
    return rows.order_by(column.desc(nulls_last=True) if down else column.asc(), "pk")


def impairment(actor: Actor, key: UUID) -> Impairment:
    return one(all_impairments(actor), "impairment", key)


# Clocks -------------------------------------------------------------------------------------------


def notice_clocks() -> QuerySet[NoticeClock]:
    return NoticeClock.objects.all()


def notice_clock(code: str) -> NoticeClock | None:
    return NoticeClock.objects.filter(code=code).first()


def clock_adoptions(actor: Actor) -> QuerySet[ClockAdoption]:
    rows = ClockAdoption.objects.visible_to(actor).filter(ended_on=None)
    return rows.select_related("site", "clock", "adopter").order_by("site__name", "pk")


def clock_adoption(actor: Actor, key: UUID) -> ClockAdoption:
    rows = ClockAdoption.objects.visible_to(actor).select_related("site", "adopter", "clock")
    return one(rows, "clock", key)


# Questions and orders -----------------------------------------------------------------------------


def all_questions(actor: Actor) -> QuerySet[Question]:
    rows = Question.objects.visible_to(actor).select_related(
        "site__owner", "organisation", "test__proportioner__system", "test__visit",
        "concentrate_check__tank",
    )  # fmt: skip
    return rows.annotate(said=Count("answers"))


def questions(actor: Actor, wanted: Wanted) -> QuerySet[Question]:
    rows = all_questions(actor)
    if stands := wanted.narrow.get("stands", ""):
        rows = rows.filter(closed_at__isnull=stands == "open")
    rows = matching(rows, wanted.find, ("words", "site__name"))
    return rows.order_by(F("closed_at").desc(nulls_first=True), "asked_at", "pk")


def question(actor: Actor, key: UUID) -> Question:
    return one(all_questions(actor), "question", key)


def answers_of(question: Question) -> Sequence[Answer]:
    return list(question.answers.all())


def questions_on(actor: Actor, record: Record) -> list[Question]:
    return list(all_questions(actor).filter(**{RECORD_LINKS[type(record)]: record}))


def all_orders(actor: Actor) -> QuerySet[Order]:
    rows = Order.objects.visible_to(actor)
    return rows.select_related("site__owner", "organisation", "deficiency", "authority_visit")


def orders(actor: Actor, wanted: Wanted) -> QuerySet[Order]:
    rows = all_orders(actor)
    rows = orders_standing(rows, wanted.narrow.get("stands", ""))
    rows = matching(rows, wanted.find, ("words", "site__name"))
    return rows.order_by(Coalesce("met_at", "withdrawn_at").desc(nulls_first=True), "due_on", "pk")


def orders_standing(rows: QuerySet[Order], stands: str) -> QuerySet[Order]:
    """open, closed (met) or withdrawn; anything else is all."""
    narrow = {
        "open": Order.OPEN, "closed": Q(met_at__isnull=False),
        "withdrawn": Q(withdrawn_at__isnull=False),
    }  # fmt: skip
    return rows.filter(narrow.get(stands, Q()))


def order(actor: Actor, key: UUID) -> Order:
    return one(all_orders(actor), "order", key)


def open_orders(actor: Actor, site: Site) -> list[Order]:
    return list(all_orders(actor).filter(Order.OPEN, site=site))


def orders_about(actor: Actor, row: Deficiency) -> list[Order]:
    return list(all_orders(actor).filter(deficiency=row))


def things_at(actor: Actor, site: Site) -> list[tuple[str, Any]]:
    """What a deficiency noted by hand can stand at, each with the name of its choice."""
    out: list[tuple[str, Any]] = []
    for name, model in KINDS.items():
        rows = model.objects.visible_to(actor).filter(retired_on=None)
        rows = rows.filter(**{model.site_path: site})
        if name == "proportioner":
            rows = rows.select_related("system")
        out += [(f"{name}:{row.key}", row) for row in rows]
    return out


def choice_of(thing: Any) -> str:
    """The name of its choice among `things_at`; empty for a site."""
    kind = next((name for name, model in KINDS.items() if type(thing) is model), "")
    return f"{kind}:{thing.key}" if kind else ""


def link_of(record: Record) -> str:
    return RECORD_LINKS[type(record)]


def records_seen(actor: Actor, steps: Sequence[Step]) -> set[UUID]:
    """Keys of the tests, checks and visits that these lines name and the reader may open."""
    tests = {step.test_id for step in steps if step.test_id}
    checks = {step.concentrate_check_id for step in steps if step.concentrate_check_id}
    lines = [step.restoration_line for step in steps if step.restoration_line is not None]
    visits = {line.visit_id for line in lines}
    out: set[UUID] = set()
    for model, keys in (
        (ProportioningTest, tests), (ConcentrateCheck, checks), (Visit, visits)
    ):  # fmt: skip
        if keys:
            seen: Any = model.objects
            out |= set(seen.visible_to(actor).filter(pk__in=keys).values_list("key", flat=True))
    return out


def sees_visit(actor: Actor, visit: Visit) -> bool:
    return Visit.objects.visible_to(actor).filter(pk=visit.pk).exists()


def notices_of(row: Impairment) -> list[Notice]:
    """Who was told on the day, as its visit has it."""
    return list(row.visit.notices.all()) if row.visit else []
