"""The first page of each of the three: next things, own work, systems by standing."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from itm.schedule import sweep
from itm.trends import next_things, systems, work
from itm.web.guard import actor_of, signed_in
from itm.web.steps import LABELS, address


@signed_in
@require_GET
def home(request: HttpRequest) -> HttpResponse:
    sweep.catch_up(timezone.now())
    return HOMES[actor_of(request).kind](request)


def owner_home(request: HttpRequest) -> HttpResponse:
    site, kind = asked(request, "site"), asked(request, "kind")
    page = next_things.next_things(
        actor_of(request), timezone.now(), site=site, kind=kind, page=asked(request, "page") or 1
    )
    choices = list(next_things.KINDS.items())
    context = {"page": page, "site": site, "kind": kind, "choices": choices}
    return render(request, "homes/owner.html", {**context, "narrowed": bool(site or kind)})


def contractor_home(request: HttpRequest) -> HttpResponse:
    actor, now = actor_of(request), timezone.now()
    sent_back, drafts, more_drafts = work.drafts(actor)
    context = {
        "sent_back": [draft_line(draft) for draft in sent_back],
        "drafts": [draft_line(draft) for draft in drafts],
        "more_drafts": more_drafts,
        "running": work.running_visits(actor, now),
        "planned": work.planned_visits(actor),
        "unsigned": work.unsigned(actor),
        "page": work.sites_due(actor, asked(request, "page") or 1),
    }
    return render(request, "homes/contractor.html", context)


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


urls: list[URLPattern] = [path("", home, name="home")]
