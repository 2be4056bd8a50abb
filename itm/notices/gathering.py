"""News from the history: what was noted since the last look becomes one line for whom it concerns.

Nothing that a person does has to think of it: the history is written with every deed, so a deed
that is kept is told, and one that was rolled back is not. May run at any time, twice and beside
itself; a look goes some minutes further back than the last one ended, because a long transaction
shows its lines late, and what was found before is the same row by its source.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction

from itm.core.history import Change
from itm.findings.models import (
    Answer,
    AuthorityVisit,
    Deficiency,
    Impairment,
    Order,
    Question,
    Step,
)
from itm.notices import at_once, consents, keeping, order_days, unsigned, wrong_told
from itm.notices.found import Found, Keyed, Keys, one_each
from itm.notices.models import SUBJECT_OF, Gathering, News
from itm.records.check_queries import UNDER_WAY
from itm.records.models import (
    ConcentrateCheck,
    ConcentrateSample,
    Inspection,
    ProportioningTest,
    RestorationLine,
    Visit,
)
from itm.registry.models import Attachment, Grant, Site, SiteAuthority
from itm.schedule.models import Adoption, Duty

K = News.Kind
MARGIN = timedelta(minutes=10)  # longer than a transaction; own choice
# What a laboratory of the trade usually takes, from memory; after it somebody asks. Own choice.
LONG_AWAY = timedelta(days=28)
ZONES = timedelta(days=2)  # the day of a site is at most one off that of the server
AT_A_TIME = 500


def gather(now: datetime) -> None:
    """Raises nothing of its own. The clock asks once a minute, and whoever opens the page."""
    Gathering.objects.get_or_create(pk=1, defaults={"at": now})
    with transaction.atomic():
        # One reader at a time, so that the numbers of the lines are in the order in which they
        # appear: “read up to here” must not pass over a line that comes later.
        held = Gathering.objects.select_for_update().get(pk=1)
        changes = Change.objects.filter(at__gte=held.at - MARGIN, model__in=RULES).order_by("pk")
        some: list[Change] = []
        for change in changes.iterator(chunk_size=AT_A_TIME):
            some.append(change)
            if len(some) == AT_A_TIME:
                write(news_of(some))
                some = []
        write(news_of(some))
        write(overdue(held.at, now))
        write(outstanding(held.at, now))
        unsigned_now = (
            line(K.UNSIGNED, found, source, at=now, on=on)
            for found, source, on in unsigned.gathered(held.at, now)
        )
        write(unsigned_now)
        late = order_days.late(held.at, now)
        write(line(K.ORDER_LATE, one, source, at=now, on=on) for one, source, on in late)
        held.at = max(held.at, now)
        held.save()


def begin_at(at: datetime) -> None:
    """Tell what was noted from that instant on; without it the first look begins with itself."""
    Gathering.objects.update_or_create(pk=1, defaults={"at": at})


def write(rows: Iterable[News]) -> None:
    """What is there already stays as it is. Past the history: none of it is a business fact."""
    made = list(rows)
    known = set(
        News.objects.filter(source__in=[row.source for row in made]).values_list(
            "source", flat=True
        )
    )
    fresh = [row for row in made if row.source not in known]
    News._base_manager.bulk_create(fresh, ignore_conflicts=True, batch_size=AT_A_TIME)
    at_once.promise(fresh)


def overdue(since: datetime, now: datetime) -> Iterator[News]:
    """One line a site and day, however many duties: the page counts those that may be seen."""
    rows = Duty.objects.filter(stands="overdue", latest_on__gte=(since - ZONES).date())
    rows = rows.order_by("latest_on", "site").distinct()
    for site, key, latest in rows.values_list("site", "site__key", "latest_on"):
        yield line(K.OVERDUE, Found(key, site), f"overdue {site} {latest}", at=now, on=latest)


def outstanding(since: datetime, now: datetime) -> Iterator[News]:
    """One line a check and day of sending, however many bottles, to whoever sent them."""
    rows = ConcentrateSample.objects.filter(
        UNDER_WAY,
        sent_on__gt=since.date() - ZONES - LONG_AWAY,
        sent_on__lte=now.date() - LONG_AWAY,
    )  # fmt: skip
    sent = rows.order_by("sent_on", "concentrate_check").values_list(
        "concentrate_check", "concentrate_check__key", "organisation", "sent_on"
    )
    for check, key, to, on in sent.distinct():
        yield line(K.OUTSTANDING, Found(key, None, to), f"outstanding {check} {on}", at=now, on=on)


def line(kind: News.Kind, found: Found, source: str, **values: Any) -> News:
    return News(
        kind=kind, subject=SUBJECT_OF[kind], site_id=found.site, to_id=found.to, thing=found.thing,
        source=source, **values,
    )  # fmt: skip


def news_of(changes: Sequence[Change]) -> Iterator[News]:
    """Queries do not grow with the lines of history, but for those of adoptions and consents."""
    told = [(change, kind) for change in changes for kind in RULES[change.model][0](change)]
    keys: dict[str, set[UUID]] = {}
    for change, _ in told:
        if change.object_key is not None:
            keys.setdefault(change.model, set()).add(change.object_key)
    found = {model: RULES[model][1](some) for model, some in keys.items()}
    for change, kind in told:
        if change.object_key is None:
            continue
        for one in found[change.model].get(change.object_key, []):
            if kind == K.WAITS:
                if not one.asks:
                    continue
                one = replace(one, site=None)  # theirs alone
            yield line(
                kind, one, source_of(change, kind, one), at=change.at, note=change.note,
                **({} if kind == K.WAITS else by(change)),
            )  # fmt: skip


def by(change: Change) -> dict[str, Any]:
    return {
        "person_key": change.person_key,
        "person": change.person,
        "organisation": change.organisation,
    }


def source_of(change: Change, kind: News.Kind, found: Found) -> str:
    if kind == K.SHIFTED:  # hundreds in one deed are one line a site
        return f"shifted {found.site} {change.at:%Y-%m-%d} {change.note[:40]}"
    return f"{change.pk} {kind} {found.to or ''}".strip()


# What a line of history tells -------------------------------------------------------------------


def of_test(change: Change) -> list[News.Kind]:
    kinds = {"hand_in": K.HANDED_IN, "send_back": K.SENT_BACK, "sign": K.SEALED}
    return [kinds[change.verb]] if change.verb in kinds else []


def of_visit(change: Change) -> list[News.Kind]:
    if moved(change, "started_at"):
        return [K.OUT] if change.after["started_at"] else [K.OUT_TAKEN_BACK]
    return [K.RESTORED] if moved(change, "restored_at") and change.after["restored_at"] else []


def moved(change: Change, column: str) -> bool:
    return column in change.after and change.before.get(column) != change.after[column]


def of_line(change: Change) -> list[News.Kind]:
    return [K.LEFT_OUT] if change.after.get("outcome") == "left_out" else []


def of_grant(change: Change) -> list[News.Kind]:
    return [K.ENGAGED] if change.verb == "created" else [K.ENGAGEMENT_CHANGED]


def of_oversight(change: Change) -> list[News.Kind]:
    return [K.NAMED] if change.verb == "created" else [K.OVERSIGHT_CHANGED]


def of_file(change: Change) -> list[News.Kind]:
    return [K.FILE_WITHDRAWN] if change.verb == "withdrawn" else []


def of_adoption(change: Change) -> list[News.Kind]:
    if change.verb == "adopted":
        return [K.ADOPTED, K.WAITS]
    return [K.ADOPTION_ENDED] if "ends_on" in change.after else []


def of_duty(change: Change) -> list[News.Kind]:
    return [K.SHIFTED] if change.verb == "shifted" else []


def of_inspection(change: Change) -> list[News.Kind]:
    return [K.INSPECTED] if change.verb == "created" else []


def of_step(change: Change) -> list[News.Kind]:
    kinds = {"proposed": K.FIX_PROPOSED, "alarm": K.CLOCK}
    verb = change.after.get("verb", "")
    return [kinds[verb]] if verb in kinds else []


def of_impairment(change: Change) -> list[News.Kind]:
    """Those by hand; of a test day the visit itself tells."""
    if change.verb == "created":
        return [] if change.after.get("visit_id") else [K.TAKEN_OUT]
    return [K.BROUGHT_BACK] if change.verb == "ended" else []


def of_question(change: Change) -> list[News.Kind]:
    kinds = {"created": K.ASKED, "closed": K.QUESTION_CLOSED}
    return [kinds[change.verb]] if change.verb in kinds else []


def of_answer(change: Change) -> list[News.Kind]:
    return [K.ANSWERED]


def of_authority_visit(change: Change) -> list[News.Kind]:
    kinds = {"noted": K.VISITED, "withdrawn": K.VISIT_WITHDRAWN}
    return [kinds[change.verb]] if change.verb in kinds else []


# Of what, and whom it concerns -------------------------------------------------------------------


def tests(keys: Keys) -> Keyed:
    """The crew is told besides those of the site, also when its time there is over."""
    rows = ProportioningTest.objects.filter(key__in=keys)
    return one_each(rows.values_list("key", "key", "site", "visit__contractor"))


def checks(keys: Keys) -> Keyed:
    rows = ConcentrateCheck.objects.filter(key__in=keys)
    return one_each(rows.values_list("key", "key", "site", "organisation"))


def visits(keys: Keys) -> Keyed:
    return one_each(
        Visit.objects.filter(key__in=keys).values_list("key", "key", "site", "contractor")
    )


def lines_of_visits(keys: Keys) -> Keyed:
    rows = RestorationLine.objects.filter(key__in=keys)
    return one_each(rows.values_list("key", "visit__key", "visit__site", "visit__contractor"))


def grants(keys: Keys) -> Keyed:
    return one_each(
        Grant.objects.filter(key__in=keys).values_list("key", "key", "site", "organisation")
    )


def oversight(keys: Keys) -> Keyed:
    rows = SiteAuthority.objects.filter(key__in=keys)
    return one_each(rows.values_list("key", "key", "site", "organisation"))


def files(keys: Keys) -> Keyed:
    """What hangs on a lot or an instrument concerns the organisation that attached it."""
    rows = Attachment.objects.filter(key__in=keys)
    return one_each(rows.values_list("key", "key", "site", "organisation"))


def duties(keys: Keys) -> Keyed:
    rows = Duty.objects.filter(key__in=keys).values_list("key", "site__key", "site")
    return {key: [Found(thing, site)] for key, thing, site in rows}


def inspections(keys: Keys) -> Keyed:
    rows = Inspection.objects.filter(key__in=keys)
    return one_each(rows.values_list("key", "key", "site", "organisation"))


def deficiencies(keys: Keys) -> Keyed:
    """Whoever found it is told besides those of the site."""
    rows = Deficiency.objects.filter(key__in=keys)
    return one_each(rows.values_list("key", "key", "site", "organisation"))


def steps(keys: Keys) -> Keyed:
    out: Keyed = {}
    rows = Step.objects.filter(key__in=keys).select_related("deficiency", "impairment")
    for row in rows:
        found = row.deficiency or row.impairment
        if found is not None:
            out[row.key] = [Found(found.key, found.site_id, found.organisation_id)]
    return out


def impairments(keys: Keys) -> Keyed:
    rows = Impairment.objects.filter(key__in=keys)
    return one_each(rows.values_list("key", "key", "site", "organisation"))


def questions(keys: Keys) -> Keyed:
    """The crew of the record is told besides owner and authority."""
    return {row.key: [_asked(row)] for row in Question.objects.filter(key__in=keys)}


def answers(keys: Keys) -> Keyed:
    rows = Answer.objects.filter(key__in=keys).select_related("question")
    return {row.key: [_asked(row.question)] for row in rows}


def _asked(row: Question) -> Found:
    return Found(row.key, row.site_id, row.record.maker_id)


def authority_visits(keys: Keys) -> Keyed:
    rows = AuthorityVisit.objects.filter(key__in=keys)
    return one_each(rows.values_list("key", "key", "site", "organisation"))


def orders(keys: Keys) -> Keyed:
    rows = Order.objects.filter(key__in=keys)
    return one_each(rows.values_list("key", "key", "site", "organisation"))


def adoptions(keys: Keys) -> Keyed:
    """For one site: those of the site. For all: the adopter, and whoever meets it at a site."""
    out: Keyed = {}
    for row in Adoption.objects.filter(key__in=keys).select_related("adopter", "programme"):
        asks = any(one.needs_confirmation for one in row.programme.requirements.all())
        out[row.key] = [Found(row.key, row.site_id, row.adopter_id, asks)]
        if row.site_id is None:
            others = whom_it_meets(row) - {row.adopter_id}
            out[row.key] += [Found(row.key, None, to) for to in sorted(others)]
    return out


def whom_it_meets(row: Adoption) -> set[int]:
    day = row.starts_on
    if row.adopter.kind == "authority":
        watched = SiteAuthority.objects.covering(day).filter(organisation=row.adopter)
        return set(watched.values_list("site__owner", flat=True))
    own = Site.objects.filter(owner=row.adopter)
    over = SiteAuthority.objects.covering(day).filter(site__in=own)
    at = Grant.objects.covering(day).filter(site__in=own)
    return {
        *over.values_list("organisation", flat=True),
        *at.values_list("organisation", flat=True),
    }


RULES: dict[str, tuple[Callable[[Change], list[News.Kind]], Callable[[Keys], Keyed]]] = {
    "findings.Answer": (of_answer, answers),
    "findings.AuthorityVisit": (of_authority_visit, authority_visits),
    "findings.Deficiency": (wrong_told.of_deficiency, deficiencies),
    "findings.Impairment": (of_impairment, impairments),
    "findings.Order": (order_days.of_order, orders),
    "findings.Question": (of_question, questions),
    "findings.Step": (of_step, steps),
    "records.ProportioningTest": (of_test, tests),
    "records.ConcentrateCheck": (of_test, checks),
    "records.Visit": (of_visit, visits),
    "records.RestorationLine": (of_line, lines_of_visits),
    "records.Inspection": (of_inspection, inspections),
    "registry.Grant": (of_grant, grants),
    "registry.SiteAuthority": (of_oversight, oversight),
    "registry.Attachment": (of_file, files),
    "retention.Decision": (keeping.of_decision, keeping.decisions),
    "schedule.Adoption": (of_adoption, adoptions),
    "schedule.Consent": (consents.of_consent, consents.consents),
    "schedule.Duty": (of_duty, duties),
}
