"""The first page of each of the three: next things, own work, systems by standing."""

from datetime import date, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from itm.accounts.actor import Actor
from itm.findings.queries import where
from itm.schedule import sweep
from itm.trends import next_things, systems, weeks, work
from itm.trends.checks_at_hand import checks_at_hand
from itm.web.guard import actor_of, signed_in
from itm.web.steps import LABELS, address

WHOSE = {
    "owner": "over all your sites",
    "contractor": "at the sites where you are engaged today",
    "authority": "over your jurisdiction",
}


@signed_in
@require_GET
def home(request: HttpRequest) -> HttpResponse:
    sweep.catch_up(timezone.now())
    return HOMES[actor_of(request).kind](request)


@signed_in
@require_GET
def due(request: HttpRequest) -> HttpResponse:
    """The list of next things for everybody; the owner meets it at home."""
    sweep.catch_up(timezone.now())
    return things(request)


def owner_home(request: HttpRequest) -> HttpResponse:
    """With the checks of its own people, which nobody else is led to."""
    return things(request, checks=checks_at_hand(actor_of(request)))


def things(request: HttpRequest, **more: Any) -> HttpResponse:
    actor, site, kind = actor_of(request), asked(request, "site"), asked(request, "kind")
    page = next_things.next_things(
        actor, timezone.now(), site=site, kind=kind, page=asked(request, "page") or 1
    )
    context = {
        "page": page,
        "site": site,
        "kind": kind,
        "choices": next_things.kinds_of(actor),
        "standings": next_things.standings(actor, timezone.now()),
        "narrowed": bool(site or kind),
        "whose": WHOSE[actor.kind],
        "here": request.path,
    }
    return render(request, "homes/things.html", context | more)


@signed_in
@require_GET
def due_weeks(request: HttpRequest) -> HttpResponse:
    """All weeks with the first things in each, or one of them whole: `week` is its Monday."""
    actor, now, site = actor_of(request), timezone.now(), asked(request, "site")
    sweep.catch_up(now)
    context: dict[str, Any] = {"site": site, "days": weeks.DAYS, "whose": WHOSE[actor.kind]}
    if (monday := monday_of(asked(request, "week"))) is None:
        context["weeks"] = weeks.folded(weeks.weeks(actor, now, site=site))
        return render(request, "homes/weeks.html", context)
    page = weeks.one_week(actor, now, monday, site=site, page=asked(request, "page") or 1)
    week = weeks.Week(monday, page.object_list, page.has_next)
    crumbs = [(f"The next {weeks.DAYS} days", reverse("due_weeks")), (week.words, "")]
    return render(
        request, "homes/week.html", {**context, "week": week, "page": page, "crumbs": crumbs}
    )


def monday_of(asked: str) -> date | None:
    """The Monday of the week that holds this day; what is no day asks for no week."""
    try:
        day = date.fromisoformat(asked)
    except ValueError:
        return None
    return (
        day - timedelta(days=day.weekday())
        if date.min + weeks.WEEK < day < date.max - weeks.WEEK
        else None
    )


def contractor_home(request: HttpRequest) -> HttpResponse:
    actor, now = actor_of(request), timezone.now()
    sent_back, drafts, more_drafts = work.drafts(actor)
    context = {
        "sent_back": [draft_line(draft) for draft in sent_back],
        "drafts": [draft_line(draft) for draft in drafts],
        "more_drafts": more_drafts,
        "running": work.running_visits(actor, now),
        "planned": work.planned_visits(actor),
        "unsigned": work.unsigned(actor, now),
        "given": given_lines(actor),
        "checks": checks_at_hand(actor),
        "calibrations": work.calibrations_due(actor, now),
        "never_calibrated": work.never_calibrated(actor, now),
        "page": work.sites_due(actor, asked(request, "page") or 1),
    }
    return render(request, "homes/contractor.html", context)


def given_lines(actor: Actor) -> dict[str, Any]:
    found = work.given_to_us(actor)
    return {
        "rows": [
            (row, where(row), row.target_on is not None and row.target_on < actor.today)
            for row in found.rows
        ],
        "more": found.more,
    }


def draft_line(draft: work.Draft) -> dict[str, Any]:
    """A draft goes on at the page of its step; before the test day at the visit."""
    if not draft.step:
        url = reverse("visit", args=[draft.test.visit.key])
        return {"draft": draft, "step": "prepared, test day not started", "url": url}
    return {
        "draft": draft,
        "step": f"at “{LABELS[draft.step][0]}”",
        "url": address(draft.test, draft.step),
    }


def authority_home(request: HttpRequest) -> HttpResponse:
    site, stands = asked(request, "site"), asked(request, "standing")
    page = systems.systems(
        actor_of(request),
        timezone.now(),
        site=site,
        stands=stands,
        page=asked(request, "page") or 1,
    )
    choices = list(systems.STANDINGS.items())
    context = {"page": page, "site": site, "standing": stands, "choices": choices}
    return render(request, "homes/authority.html", {**context, "narrowed": bool(site or stands)})


HOMES = {"owner": owner_home, "contractor": contractor_home, "authority": authority_home}


def asked(request: HttpRequest, name: str) -> str:
    return request.GET.get(name, "").strip()[:80]


urls: list[URLPattern] = [
    path("", home, name="home"),
    path("due/", due, name="due"),
    path("due/weeks/", due_weeks, name="due_weeks"),
]
