"""News in words: what came about, where, and the page where it goes on.

The words are made from the thing itself, read anew as the reader may see it today. What the reader
may no longer see is told without any detail of it.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import F, Q, QuerySet
from django.urls import reverse

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.findings.models import AuthorityVisit, Deficiency, Impairment, Order, Question
from itm.notices import consents as agreed
from itm.notices import lost, order_days, wrong_told
from itm.notices import unsigned as waiting_long
from itm.notices.keeping import told_parts
from itm.notices.models import WRONGS, News
from itm.records.inspection_queries import inspections
from itm.records.models import ConcentrateCheck, ProportioningTest, Visit
from itm.registry.models import Attachment, Grant, Site, SiteAuthority
from itm.retention.models import Decision
from itm.schedule.adoption_queries import rows_of
from itm.schedule.models import Adoption, Consent, Duty
from itm.schedule.queries import in_reach

K = News.Kind


@dataclass(frozen=True)
class Told:
    what: str
    where: str = ""
    url: str = ""  # empty where there is nothing to open
    detail: str = ""
    limits: str = ""
    certainty: str = ""


GONE = Told("Something that is no longer yours to see")


def told_of(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    """By primary key; a query for each kind of thing on the page, however long it is."""
    out: dict[int, Told] = {}
    for kinds, tell in TELLERS:
        some = [row for row in rows if row.kind in kinds]
        if some:
            out |= tell(actor, some)
    return {row.pk: out.get(row.pk, GONE) for row in rows}


def each(
    rows: Sequence[News], things: QuerySet[Any], words: Callable[[News, Any], Told]
) -> dict[int, Told]:
    found = {thing.key: thing for thing in things.filter(key__in={row.thing for row in rows})}
    return {row.pk: words(row, found[row.thing]) for row in rows if row.thing in found}


def tests(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    things = ProportioningTest.objects.visible_to(actor)
    told = each(rows, things.select_related("site", "proportioner__system"), of_test)
    checks = ConcentrateCheck.objects.visible_to(actor).select_related("site", "tank")
    told |= each(rows, checks, of_check)
    # A record that was sent back is a draft again, which is its crew's alone. That it went back,
    # and why, the owner learns all the same, through the visit.
    left = [row for row in rows if row.pk not in told and row.kind == K.SENT_BACK]
    if left:
        visible = Visit.objects.visible_to(actor)
        drafts = ProportioningTest.objects.filter(visit__in=visible, state="draft")
        told |= each(left, drafts.select_related("site", "visit", "proportioner__system"), of_draft)
    return told


def of_test(row: News, test: ProportioningTest) -> Told:
    # What is a draft again shows no result: nothing is said of it until it is handed in anew.
    judged = test.state in ("handed_in", "sealed") and row.kind != K.SENT_BACK
    return Told(
        row.get_kind_display(),
        f"{test.site.name}: {test.proportioner.system.name}, {test.proportioner.tag}",
        reverse("test", args=[test.key]),
        row.note if row.kind == K.SENT_BACK else f"tested on {day(test.tested_on)}",
        test.limits if judged else "",
        test.certainty if judged else "",
    )


def of_check(row: News, check: ConcentrateCheck) -> Told:
    said = [f"concentrate check of {day(check.checked_on)}"]
    if row.kind == K.SENT_BACK:
        said.append(row.note)
    elif check.state in ("handed_in", "sealed"):
        said += [words for words in (check.limits, check.strength, check.layers) if words]
    where = f"{check.site.name}: tank {check.tank.tag}"
    return Told(row.get_kind_display(), where, reverse("check", args=[check.key]), ", ".join(said))


def outstanding(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    """Of each check what still waits of the bottles that were sent on that day."""
    things = ConcentrateCheck.objects.visible_to(actor).select_related("site", "tank")
    return each(rows, things.prefetch_related("samples"), of_away)


def unsigned(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    found = waiting_long.seen(actor, rows)
    out = {}
    for row in rows:
        if row.thing in found:
            there, words = found[row.thing]
            where, url = f"{there.site}: {there.where}", reverse(there.page, args=[there.key])
            out[row.pk] = Told(row.get_kind_display(), where, url, words)
    return out


def of_away(row: News, check: ConcentrateCheck) -> Told:
    sent = [one for one in check.samples.all() if one.sent_on == row.on]
    waiting = [one for one in sent if one.under_way]
    detail = f"sent on {day(row.on)}: " + (
        f"{', '.join(one.label for one in waiting)}, {waiting[0].laboratory}" if waiting
        else "answered or withdrawn since"
    )  # fmt: skip
    where = f"{check.site.name}: tank {check.tank.tag}"
    return Told(row.get_kind_display(), where, reverse("check", args=[check.key]), detail)


def of_draft(row: News, test: ProportioningTest) -> Told:
    where = f"{test.site.name}: {test.proportioner.system.name}, {test.proportioner.tag}"
    url = reverse("visit", args=[test.visit.key])
    return Told(row.get_kind_display(), where, url, row.note)


def visits(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    things = Visit.objects.visible_to(actor).select_related("site", "contractor")
    told = each(rows, things.prefetch_related("restoration_lines"), of_visit)
    # A test day that was started by mistake is its crew's alone again. That it was, owner and
    # authority read in its impairment.
    left = [row for row in rows if row.pk not in told and row.kind in (K.OUT, K.OUT_TAKEN_BACK)]
    if left:
        seen = Impairment.objects.visible_to(actor).exclude(taken_back_at=None)
        seen = seen.filter(visit__key__in={row.thing for row in left})
        by_visit = {one.visit.key: one for one in seen.select_related("site", "visit") if one.visit}
        told |= {
            row.pk: of_impairment(row, by_visit[row.thing]) for row in left if row.thing in by_visit
        }
    return told


def of_visit(row: News, visit: Visit) -> Told:
    detail = f"by {visit.contractor.name}"
    if row.kind == K.LEFT_OUT:
        left = [one for one in visit.restoration_lines.all() if one.outcome == "left_out"]
        detail = "; ".join(f"{one.text} ({one.reason})" for one in left) or detail
    return Told(row.get_kind_display(), visit.site.name, reverse("visit", args=[visit.key]), detail)


def rounds(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    return each(rows, inspections(actor), of_round)


def of_round(row: News, found: Any) -> Told:
    faults = f"{found.faults} not in order" if found.faults else "nothing found wrong"
    if found.not_possible:
        faults += f", {found.not_possible} not possible"
    return Told(
        row.get_kind_display(), found.site.name, reverse("inspection", args=[found.key]),
        f"{found.done} task{'' if found.done == 1 else 's'} done on {day(found.done_on)}, {faults}",
    )  # fmt: skip


def overdue(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    """One line a site and day: how many of its duties passed that day and were not done by it."""
    asked = Q(pk__in=[])
    for row in rows:
        asked |= Q(site=row.site_id, latest_on=row.on)
    duties = in_reach(actor, Duty.objects.visible_to(actor)).filter(asked, withdrawn_on=None)
    late = duties.filter(Q(done_on=None) | Q(done_on__gt=F("latest_on")))
    found = late.order_by().values_list("site", "latest_on", "done_on", "key")
    there: dict[tuple[int, date], list[tuple[date | None, UUID]]] = {}
    for site, latest, done_on, key in found:
        there.setdefault((site, latest), []).append((done_on, key))
    sites = visible_sites(actor, rows)
    out = {}
    for row in rows:
        held = there.get((row.site_id, row.on)) if row.site_id and row.on else None
        if held and row.site_id in sites:
            out[row.pk] = of_late(row, sites[row.site_id], held)
    return out


def of_late(row: News, site: Site, held: Sequence[tuple[date | None, UUID]]) -> Told:
    done = sum(on is not None for on, _ in held)
    count = len(held)
    what = f"{count} dut{'y' if count == 1 else 'ies'} overdue"
    url = reverse("duty", args=[held[0][1]]) if count == 1 else reverse("site", args=[site.key])
    detail = f"latest day was {day(row.on)}"
    if done:
        detail += ", done since" if done == count else f", {done} of them done since"
    return Told(what, site.name, url, detail)


def shifted(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    sites = visible_sites(actor, rows)
    return {
        row.pk: Told(
            row.get_kind_display(), sites[row.site_id].name,
            reverse("site", args=[sites[row.site_id].key]), row.note,
        )
        for row in rows
        if row.site_id in sites
    }  # fmt: skip


def visible_sites(actor: Actor, rows: Iterable[News]) -> dict[int | None, Site]:
    seen = Site.objects.visible_to(actor).filter(pk__in={row.site_id for row in rows})
    return {site.pk: site for site in seen}


def grants(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    """An engagement shows to both sides, also before it begins and after its end."""
    seen = visible_sites(actor, rows)
    things = Grant.objects.visible_to(actor).select_related("site", "organisation")

    def words(row: News, grant: Grant) -> Told:
        until = f" until {day(grant.ends_on)}" if grant.ends_on else ""
        url = reverse("site", args=[grant.site.key]) if grant.site_id in seen else ""
        return Told(
            row.get_kind_display(), grant.site.name, url,
            f"{grant.organisation.name}, from {day(grant.starts_on)}{until}",
        )  # fmt: skip

    return each(rows, things, words)


def oversight(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    things = SiteAuthority.objects.visible_to(actor).select_related("site", "organisation")
    return each(rows, things, of_oversight)


def of_oversight(row: News, held: SiteAuthority) -> Told:
    words = row.get_kind_display()
    detail = f"{held.organisation.name}, {held.get_scope_display().lower()}"
    if row.kind == K.OVERSIGHT_CHANGED:
        if held.taken_back_on:
            words = "Naming of an authority taken back"
        elif held.ended_on:
            detail += f", last day {day(held.ended_on)}"
        else:
            words = "Authority goes on"
    return Told(words, held.site.name, reverse("site", args=[held.site.key]), detail)


def files(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    """That it was withdrawn and why; the file itself is shown to nobody."""
    things = Attachment.objects.visible_to(actor).exclude(withdrawn_at=None)
    return each(rows, things.select_related("site"), of_file)


def of_file(row: News, file: Attachment) -> Told:
    where = file.site.name if file.site else ""
    url = reverse("site", args=[file.site.key]) if file.site else ""
    return Told(row.get_kind_display(), where, url, f"{file.name}: {file.withdrawn_why}")


def adoptions(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    things = Adoption.objects.visible_to(actor).select_related("programme", "adopter", "site")

    def words(row: News, held: Adoption) -> Told:
        detail = f"{held.programme}, from {day(held.starts_on)}"
        if row.kind == K.ADOPTION_ENDED and held.ends_on:
            detail = f"{held.programme}, last day {day(held.ends_on)}"
        if row.kind == K.WAITS:
            waiting = sum(one.waits for one in rows_of(held, actor.today))
            detail = f"{held.programme}: " + (
                f"{waiting} claim nothing until somebody confirms them" if waiting
                else "all are confirmed"
            )  # fmt: skip
        url = reverse("adoption", args=[held.key])
        return Told(row.get_kind_display(), where_of(held), url, detail)

    return each(rows, things, words)


def where_of(held: Adoption) -> str:
    if held.site is not None:
        return held.site.name
    if held.adopter.kind == "authority":
        return f"all sites that {held.adopter.name} looks after"
    return f"all sites of {held.adopter.name}"


def consents(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    things = Consent.objects.visible_to(actor).select_related(
        "authority", "requirement", "adoption__site", "adoption__adopter", "adoption__programme"
    )

    def words(row: News, noted: Consent) -> Told:
        url, detail = agreed.told_parts(row.kind, noted)
        return Told(row.get_kind_display(), where_of(noted.adoption), url, detail)

    return each(rows, things, words)


def wrong(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    """Class and words of the deficiency as they stand now."""
    things = Deficiency.objects.visible_to(actor).select_related("site")
    return each(rows, things, of_deficiency)


def of_deficiency(row: News, found: Deficiency) -> Told:
    url = reverse("deficiency", args=[found.key])
    return Told(row.get_kind_display(), found.site.name, url, wrong_told.detail(row, found))


def out_of_service(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    things = Impairment.objects.visible_to(actor).select_related("site", "visit")
    return each(rows, things, of_impairment)


def of_impairment(row: News, found: Impairment) -> Told:
    url = reverse("impairment", args=[found.key])
    detail = found.ended_words if row.kind == K.BROUGHT_BACK else found.why
    return Told(row.get_kind_display(), found.site.name, url, row.note or detail)


def questions(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    things = Question.objects.visible_to(actor).select_related("site", "organisation")
    return each(rows, things, of_question)


def of_question(row: News, asked: Question) -> Told:
    url = reverse("question", args=[asked.key])
    return Told(row.get_kind_display(), asked.site.name, url, asked.words[:200])


def orders(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    things = Order.objects.visible_to(actor).select_related("site", "organisation")
    return each(rows, things, of_order)


def of_order(row: News, made: Order) -> Told:
    url = reverse("order", args=[made.key])
    return Told(row.get_kind_display(), made.site.name, url, order_days.detail(row, made))


def authority_visits(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    things = AuthorityVisit.objects.visible_to(actor).select_related("site", "organisation")
    return each(rows, things, of_authority_visit)


def of_authority_visit(row: News, noted: AuthorityVisit) -> Told:
    url = reverse("authority_visit", args=[noted.key])
    detail = f"{noted.organisation.name}, {day(noted.visited_on)}: {noted.looked_at[:200]}"
    return Told(row.get_kind_display(), noted.site.name, url, row.note or detail)


def files_going(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    things = Decision.objects.visible_to(actor).select_related("site").prefetch_related("files")

    def words(row: News, decided: Decision) -> Told:
        url, detail = told_parts(actor, decided)
        return Told(row.get_kind_display(), decided.site.name, url, detail)

    return each(rows, things, words)


def mails_lost(actor: Actor, rows: Sequence[News]) -> dict[int, Told]:
    return {
        row.pk: Told(row.get_kind_display(), detail=words)
        for row, words in lost.told_parts(actor, rows)
    }


TELLERS: tuple[tuple[set[str], Callable[[Actor, Sequence[News]], dict[int, Told]]], ...] = (
    ({K.HANDED_IN, K.SENT_BACK, K.SEALED}, tests),
    ({K.OUT, K.OUT_TAKEN_BACK, K.LEFT_OUT, K.RESTORED}, visits),
    ({K.INSPECTED}, rounds),
    ({K.OUTSTANDING}, outstanding),
    ({K.UNSIGNED}, unsigned),
    (set(WRONGS), wrong),
    ({K.TAKEN_OUT, K.BROUGHT_BACK, K.CLOCK}, out_of_service),
    ({K.ASKED, K.ANSWERED, K.QUESTION_CLOSED}, questions),
    ({K.ORDERED, K.ORDER_SEEN, K.ORDER_MET, K.ORDER_LATE, K.ORDER_WITHDRAWN}, orders),
    ({K.MAIL_LOST}, mails_lost),
    ({K.VISITED, K.VISIT_WITHDRAWN}, authority_visits),
    ({K.OVERDUE}, overdue),
    ({K.SHIFTED}, shifted),
    ({K.ENGAGED, K.ENGAGEMENT_CHANGED}, grants),
    ({K.NAMED, K.OVERSIGHT_CHANGED}, oversight),
    ({K.FILE_WITHDRAWN}, files),
    ({K.GOING, K.STAYS, K.GONE}, files_going),
    ({K.ADOPTED, K.WAITS, K.ADOPTION_ENDED}, adoptions),
    ({K.CONSENTED, K.CONSENT_ANSWERED}, consents),
)
