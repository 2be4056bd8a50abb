"""The rules of keeping: read, adopted at sites, set longer, ended; and what loose files are."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from itm.registry import queries
from itm.retention import overview, setting
from itm.retention.forms import AdoptForm, EndPeriodForm, OwnPeriodForm, PapersForm
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in
from itm.web.keeping import crumbs_of


@signed_in
@require_GET
def keeping_rules(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    overview.require_overview(actor)
    context = {
        "rules": setting.rules(actor),
        "crumbs": [("How long records are kept", reverse("keeping_sites")), ("Rules", "")],
    }
    return render(request, "keeping/rules.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def keeping_adopt(request: HttpRequest, code: str) -> HttpResponse:
    actor = actor_of(request)
    overview.require_overview(actor)
    rule = setting.rule(code)
    form = AdoptForm(request.POST or None, actor=actor, asked=request.GET.get("site", ""))
    there = reverse("keeping_rules")
    return edit(
        request, form=form, title="Adopt a rule of keeping", save="It holds there",
        write=lambda: setting.adopt(
            actor=actor, rule=rule, at=timezone.now(), **form.cleaned_data
        ),
        to=lambda _: there, back=there, said="Adopted.",
        crumbs=[("How long records are kept", reverse("keeping_sites")), ("Rules", there)],
        lead=f"{rule.words} About {rule.about}: {rule.how_long}. Source: {rule.source}; "
        f"{rule.confidence}{', to be checked' if rule.needs_confirmation else ''}.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def keeping_own(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = queries.site(actor, key)
    setting.require_keeper(actor, site)
    form = OwnPeriodForm(request.POST or None, initial={"kind": request.GET.get("kind", "")})
    there = reverse("keeping", args=[key])
    return edit(
        request, form=form, title="Set a period of your own", save="It holds from today",
        write=lambda: setting.set_own(
            actor=actor, site=site, at=timezone.now(), **form.cleaned_data
        ),
        to=lambda _: there, back=there, said="Set: {}.", crumbs=crumbs_of(site),
        lead="It counts beside the rules that hold here, and the longest decides. Nothing is let "
        "go by itself when it is over.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def keeping_end(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = setting.period(actor, key)
    setting.require_keeper(actor, row.site)
    form = EndPeriodForm(request.POST or None)
    there = reverse("keeping", args=[row.site.key])
    return edit(
        request, form=form, title="End a period", save="It ends today",
        write=lambda: setting.end(actor=actor, row=row, at=timezone.now(), **form.cleaned_data),
        to=lambda _: there, back=there, said="Ended: {}.", crumbs=crumbs_of(row.site),
        lead=f"{row}, at {row.site.name}. What was kept by it alone may then be past its period.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def keeping_papers(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = queries.site(actor, key)
    rows = overview.loose_at(actor, site)
    there = reverse("keeping", args=[key])
    form = PapersForm(request.POST or None, rows=rows)

    def write() -> Any:
        said = {UUID(name): kind for name, kind in form.cleaned_data.items() if kind}
        return len(setting.say(actor=actor, site=site, kinds=said, at=timezone.now()))

    return edit(
        request, form=form, title="Say what files are", save="Save", write=write,
        to=lambda _: there, back=there, said="Noted: {} said.", crumbs=crumbs_of(site),
        template="keeping/papers.html", site=site,
        files=[(row, form[str(row.key)]) for row, _ in rows],
    )  # fmt: skip


urls: list[URLPattern] = [
    path("keeping/rules/", keeping_rules, name="keeping_rules"),
    path("keeping/rules/<slug:code>/adopt/", keeping_adopt, name="keeping_adopt"),
    path("keeping/periods/<uuid:key>/end/", keeping_end, name="keeping_end"),
    path("sites/<uuid:key>/keeping/own-period/", keeping_own, name="keeping_own"),
    path("sites/<uuid:key>/keeping/what-files-are/", keeping_papers, name="keeping_papers"),
]
