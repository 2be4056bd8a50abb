"""Where an overdue duty is a deficiency: said row by row for one site."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.findings import forms, overdue, queries
from itm.registry import queries as registry
from itm.schedule import wording
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in
from itm.web.sites import crumbs_to

CLASSES = {int(value): label for value, label in queries.CLASSES}


@signed_in
@require_GET
def overdue_rules(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = registry.site(actor, key)
    said = list(overdue.rules_at(site))
    context = {
        "site": site,
        "rows": [
            {
                "row": row,
                "when": when,
                "applies_to": wording.applies_to(row),
                "rules": [rule for rule in said if overdue.is_about(rule, row)],
                "base": row.programme.everywhere,
                "by_row": CLASSES[row.overdue_class] if row.overdue_class else "",
            }
            for row, when in overdue.rows_at(site, timezone.now())
        ],
        "own": actor.organisation_id,
        "says": overdue.may_say(actor, site),
        "crumbs": [*crumbs_to(site), ("When overdue is a deficiency", "")],
    }
    return render(request, "findings/overdue.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def overdue_rule_new(request: HttpRequest, key: UUID, row: int) -> HttpResponse:
    actor = actor_of(request)
    site = registry.site(actor, key)
    requirement, when = overdue.row_at(site, timezone.now(), row)
    overdue.require_say(actor, site)
    there = reverse("overdue_rules", args=[key])
    form = forms.OverdueForm(request.POST or None, requirement=requirement)
    return edit(
        request, form=form, title="Overdue is a deficiency", save="It holds here",
        write=lambda: overdue.say_overdue(
            actor=actor, site=site, requirement=requirement, at=timezone.now(),
            **form.cleaned_data,
        ),
        to=lambda _: there, back=there, said="It holds from now on: {}.",
        crumbs=[*crumbs_to(site), ("When overdue is a deficiency", there)],
        lead=f"{requirement}, {when}. Whenever it is overdue at {site.name}, a deficiency opens in "
        "the class chosen here, also for what is overdue today. A person closes it against the "
        "record that shows it done.",
    )  # fmt: skip


@signed_in
@require_POST
def overdue_rule_end(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    rule = overdue.end_overdue(actor=actor, rule=overdue.rule(actor, key), at=timezone.now())
    messages.success(request, f"Ended: {rule}. What it opened stays until a person ends it.")
    return redirect("overdue_rules", key=rule.site.key)


urls: list[URLPattern] = [
    path("sites/<uuid:key>/overdue/", overdue_rules, name="overdue_rules"),
    path("sites/<uuid:key>/overdue/<int:row>/", overdue_rule_new, name="overdue_rule_new"),
    path("overdue-rules/<uuid:key>/end/", overdue_rule_end, name="overdue_rule_end"),
]
