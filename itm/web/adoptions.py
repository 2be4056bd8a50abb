"""One adoption: its rows confirmed, tightened or left out, its end; and what holds at a site."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.accounts.actor import leads
from itm.actions import settle_rows
from itm.actions.adopt import end
from itm.core.figures import day
from itm.registry import queries as registry
from itm.schedule import adopting, consents, wording
from itm.schedule import adoption_queries as queries
from itm.schedule.forms import AnswerConsentForm, ConfirmForm, EndAdoptionForm, TermsForm
from itm.schedule.rules import window_of
from itm.web.editing import Crumbs, edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.programmes import crumbs
from itm.web.sites import crumbs_to
from itm.web.weighing import effect, weigh


def crumbs_to_adoption(row: Any) -> Crumbs:
    name = f"{row.programme.name}, {row.site or row.adopter}"
    return [*crumbs(), (name, reverse("adoption", args=[row.key]))]


@signed_in
@require_http_methods(["GET", "POST"])
def adoption(request: HttpRequest, key: UUID) -> HttpResponse:
    """The rows as they stand, and the form that confirms those that wait."""
    actor = actor_of(request)
    row = queries.adoption(actor, key)
    mine = row.adopter_id == actor.organisation_id and leads(actor)
    today = site_date(row.site.time_zone) if row.site else site_date()
    rows = queries.rows_of(row, today)
    waiting = [one.requirement for one in rows if one.waits and not one.left_out]
    status = 200
    form = ConfirmForm(request.POST or None, waiting=waiting)
    if request.method == "POST":
        adopting.require_adopter(actor, row, "confirm its rows")
        status = 422
        if form.is_valid():
            with form.refusals():
                given, made = settle_rows.confirm(
                    actor=actor, adoption=row, requirements=list(form.cleaned_data["rows"]),
                    checked_against=form.cleaned_data["checked_against"], today=today,
                )  # fmt: skip
                count = "1 row" if len(given) == 1 else f"{len(given)} rows"
                messages.success(request, " ".join([f"Confirmed: {count}.", *effect(made)]))
                return redirect("adoption", key)
    context = {
        "adoption": row,
        "rows": [{"held": one, "when": when(one), **words(one)} for one in rows],
        "form": form,
        "waiting": len(waiting),
        "mine": mine and row.ends_on is None,
        "consents": [
            (one, consents.may_answer(actor, one)) for one in consents.consents_of(actor, row)
        ],
        "crumbs": [*crumbs(), (crumbs_to_adoption(row)[-1][0], "")],
    }
    return render(request, "programmes/adoption.html", context, status=status)


def when(one: queries.Row) -> str:
    return "left out" if one.left_out else wording.when(one.requirement, one.window)


def words(one: queries.Row) -> dict[str, str]:
    return {"applies_to": wording.applies_to(one.requirement)}


@signed_in
@require_POST
def confirmation_take_back(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.confirmation(actor, key)
    today = site_date(row.adoption.site.time_zone) if row.adoption.site else site_date()
    _, made = settle_rows.take_back(actor=actor, confirmation=row, today=today)
    messages.success(request, " ".join(["Taken back: the row waits again.", *effect(made)]))
    return redirect("adoption", row.adoption.key)


@signed_in
@require_http_methods(["GET", "POST"])
def terms(request: HttpRequest, key: UUID, row: int) -> HttpResponse:
    actor = actor_of(request)
    held = queries.adoption(actor, key)
    adopting.require_adopter(actor, held, "set its terms")
    requirement = queries.requirement(held, row)
    there = reverse("adoption", args=[key])
    window = window_of(requirement)
    initial: dict[str, Any] = {"starts_on": site_date(), "unit": requirement.unit}
    if window is not None:
        initial |= {name: getattr(window, name) for name in ("interval", "earliest", "latest")}
    form = TermsForm(request.POST or None, adoption=held, initial=initial)
    return weigh(
        request, form=form,
        write=lambda: settle_rows.set_terms(
            actor=actor, adoption=held, requirement=requirement,
            starts_on=form.cleaned_data["starts_on"], window=form.window, agreed=form.agreed,
        ),
        said=lambda given: [f"{requirement}: from {day(given[0].starts_on)}.", *effect(given[1])],
        to=lambda _: there, title=f"Terms of “{requirement.words or requirement}”",
        save="Set these terms", back=there, crumbs=crumbs_to_adoption(held),
        lead=f"The row asks: {wording.when(requirement, window)}. Source: {requirement.source}. "
        "A shorter interval or a narrower window is yours to set. Anything looser needs the "
        "authority's consent, noted below.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def adoption_end(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    held = queries.adoption(actor, key)
    adopting.require_adopter(actor, held, "end it")
    there = reverse("adoption", args=[key])
    form = EndAdoptionForm(request.POST or None, adoption=held, initial={"ends_on": site_date()})
    return weigh(
        request, form=form,
        write=lambda: end(
            actor=actor, adoption=held, ends_on=form.cleaned_data["ends_on"], agreed=form.agreed
        ),
        said=lambda given: [f"It ends on {day(given[0].ends_on)}.", *effect(given[1])],
        to=lambda _: there, title=f"End {held.programme.name}", save="End it", back=there,
        crumbs=crumbs_to_adoption(held),
        lead="What was done under it stays on record. Open duties that only it asks for are "
        "withdrawn. Where an authority looks after the site, its consent is noted.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def consent_answer(request: HttpRequest, key: UUID) -> HttpResponse:
    """The authority that is named says whether it agreed."""
    actor = actor_of(request)
    row = consents.consent(actor, key)
    consents.require_answer(actor, row)
    held = row.adoption
    there = reverse("adoption", args=[held.key])
    form = AnswerConsentForm(
        request.POST or None, initial={"said": row.answer or None, "words": row.answer_words}
    )
    today = site_date(held.site.time_zone) if held.site else site_date()
    of = f"“{row.requirement.words}”" if row.requirement else f"the end of {held.programme.name}"
    return edit(
        request, form=form, title="Answer a consent", save="Answer", back=there,
        write=lambda: consents.answer(actor=actor, consent=row, today=today, **form.cleaned_data),
        to=lambda _: there, said="Answered.", crumbs=crumbs_to_adoption(held),
        lead=f"{held.adopter.name} noted that {row.person} agreed for {row.authority.name} on "
        f"{day(row.given_on)}, {row.paper}: {row.what}. It is about {of}. Your answer changes no "
        "due date; owner and authority settle that, and an order asks for something by a day.",
    )  # fmt: skip


@signed_in
@require_GET
def site_programmes(request: HttpRequest, key: UUID) -> HttpResponse:
    """Every row that holds at the site, with where it comes from."""
    actor = actor_of(request)
    site = registry.site(actor, key)
    today = site_date(site.time_zone)
    adoptions = list(queries.adoptions(actor).filter(queries.touching(site)))
    context = {
        "site": site,
        "today": today,
        "adoptions": adoptions,
        "rows": [
            {
                "held": one,
                "row": one.requirement,
                "when": wording.when(one.requirement, one.window),
                "applies_to": wording.applies_to(one.requirement),
            }
            for one in queries.held_at(site, today)
        ],
        "everywhere": [(one, wording.when(one, window_of(one))) for one in queries.everywhere()],
        "disputed": [wording.disputed(one) for one in consents.disputed(actor, adoptions, today)],
        "mine": registry.may_change(actor, site),
        "crumbs": [*crumbs_to(site), ("Programmes", "")],
    }
    return render(request, "programmes/site.html", context)


urls: list[URLPattern] = [
    path("adoptions/<uuid:key>/", adoption, name="adoption"),
    path("adoptions/<uuid:key>/end/", adoption_end, name="adoption_end"),
    path("adoptions/<uuid:key>/rows/<int:row>/", terms, name="adoption_terms"),
    path("consents/<uuid:key>/answer/", consent_answer, name="consent_answer"),
    path(
        "confirmations/<uuid:key>/take-back/",
        confirmation_take_back,
        name="confirmation_take_back",
    ),
    path("sites/<uuid:key>/programmes/", site_programmes, name="site_programmes"),
]
