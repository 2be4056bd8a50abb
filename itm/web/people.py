"""The people of an organisation: who belongs to it, who is invited, and taking an invitation up."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth import logout
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.accounts import inviting, people
from itm.accounts.actor import Actor, require_kind
from itm.accounts.forms import AnsweringForm, InviteForm, JoinForm, RoleForm, WhyForm
from itm.accounts.inviting import Joining
from itm.actions.change_role import change_role
from itm.actions.invite_contractor import invite_contractor
from itm.actions.join import join as act_join
from itm.actions.remove_person import remove_person
from itm.core.errors import NotFound, Refused
from itm.registry import promising
from itm.registry.forms import InviteContractorForm
from itm.web import proving
from itm.web.editing import edit, own_date
from itm.web.guard import actor_of, signed_in, unlisted

HOME = "People"


def crumbs(*more: tuple[str, str]) -> list[tuple[str, str]]:
    return [(HOME, reverse("people")), *more]


@signed_in
@require_GET
def people_list(request: HttpRequest) -> HttpResponse:
    """All of the organisation see who belongs to it; whom it invites is for its managers."""
    actor, now = actor_of(request), timezone.now()
    rows = list(people.people(actor))
    here = {row.pk for row in rows if row.ended_on is None or row.ended_on > actor.today}
    manages = actor.role == people.Role.MANAGER
    invited = list(inviting.invitations(actor)) if manages else []
    asked = [(row, row.stands(now)) for row in invited]
    context = {
        "here": [row for row in rows if row.pk in here],
        "left": [row for row in rows if row.pk not in here],
        "manages": manages,
        "waiting": [one for one in asked if one[1] in ("open", "lapsed")],
        "over": [one for one in asked if one[1] in ("accepted", "withdrawn")],
        "crumbs": [(HOME, "")],
    }
    return render(request, "people/list.html", context)


@signed_in
@require_GET
def person(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = people.person(actor, key)
    context = {
        "row": row,
        "left": row.ended_on is not None and row.ended_on <= actor.today,
        "manages": actor.role == people.Role.MANAGER,
        "changes": people.changes(row),
        "crumbs": crumbs((row.user.name, "")),
    }
    return render(request, "people/person.html", context)


def of_person(
    request: HttpRequest, key: UUID, *, form: type[WhyForm],
    write: Callable[..., Any], **words: Any,
) -> HttpResponse:  # fmt: skip
    """A deed with a reason on somebody of the organisation."""
    actor = actor_of(request)
    people.require_manager(actor)
    row = people.person(actor, key)
    shown = proving.asking(request, form(request.POST or None, initial={"role": row.role}))
    there = reverse("person", args=[key])

    def act() -> Any:
        by = proving.proved(request, shown)
        after, ended = write(actor=by, row=row, at=timezone.now(), **shown.cleaned_data)
        if ended:
            messages.warning(
                request, f"What {row.user} had given out ended with it: {', '.join(ended)}. "
                "Make anew what is still wanted.",
            )  # fmt: skip
        return after

    return edit(
        request, form=shown, write=act,
        to=lambda _: reverse("people"), back=there, crumbs=crumbs((row.user.name, there)),
        **{name: text.format(row.user) for name, text in words.items()},
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def person_role(request: HttpRequest, key: UUID) -> HttpResponse:
    return of_person(
        request, key, form=RoleForm, write=change_role, title="Change the role of {}",
        save="Change the role", said="The role is changed: {}.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def person_remove(request: HttpRequest, key: UUID) -> HttpResponse:
    return of_person(
        request, key, form=WhyForm, write=remove_person, title="Remove {}", save="Remove",
        said="{} no longer belongs to the organisation.",
        lead="From now on nothing of the organisation opens to this person, and the person's "
        "tokens and calendar stop, and so do invitations that nobody took up and links for readers "
        "that the person made. What the person made and signed stays under the person's name.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def invite(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    people.require_manager(actor)
    form = InviteForm(request.POST or None, initial={"role": people.Role.MEMBER})
    proving.asking(request, form)
    return edit(
        request, form=form,
        write=lambda: inviting.invite(
            actor=proving.proved(request, form), at=timezone.now(), **form.cleaned_data
        ),
        to=lambda _: reverse("people"), title="Invite somebody", save="Send the invitation",
        said="Invited: {}. The mail is on its way.", back=reverse("people"), crumbs=crumbs(),
        lead=f"They join {actor.organisation_name}. The link of the mail works once, for "
        f"{inviting.LIFE.days} days.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def contractor_invite(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    require_kind(actor, "owner", what="invite a contractor")
    people.require_manager(actor)
    given = {"starts_on": own_date(actor), "sites": request.GET.getlist("site")}
    form = InviteContractorForm(request.POST or None, actor=actor, initial=given)
    proving.asking(request, form)
    return edit(
        request, form=form,
        write=lambda: invite_contractor(
            actor=proving.proved(request, form), at=timezone.now(), **form.cleaned_data
        ),
        to=lambda row: reverse("invitation", args=[row.key]), title="Invite a contractor",
        save="Send the invitation", said="Invited: {}. The mail is on its way.",
        lead="For a company that does not work with Foam ITM yet. It is engaged at these sites "
        "once it takes the invitation up.",
        back=reverse("sites"), crumbs=[("Sites", reverse("sites"))],
    )  # fmt: skip


@signed_in
@require_GET
def invitation(request: HttpRequest, key: UUID) -> HttpResponse:
    row = inviting.invitation(actor_of(request), key)
    context = {
        "row": row,
        "stands": row.stands(timezone.now()),
        "promised": promising.promised(row),
        "changes": inviting.changes(row),
        "crumbs": crumbs((row.email, "")),
    }
    return render(request, "people/invitation.html", context)


@signed_in
@require_POST
def invitation_again(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = inviting.invitation(actor, key)
    inviting.send_again(actor=actor, row=row, at=timezone.now())
    messages.success(request, f"Another mail is on its way to {row}; the link before it ended.")
    return redirect("invitation", key)


@signed_in
@require_POST
def invitation_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = inviting.withdraw(
        actor=actor, row=inviting.invitation(actor, key), at=timezone.now()
    )  # fmt: skip
    messages.success(request, f"Withdrawn: the link that {row} has opens nothing any more.")
    return redirect("invitation", key)


@unlisted
@require_http_methods(["GET", "POST"])
def join(request: HttpRequest, token: str) -> HttpResponse:
    """Where the link of the mail leads. Whoever holds it reads the mail of that address."""
    now = timezone.now()
    try:
        found = inviting.joining(token, now)
    except NotFound:
        sentence = "This link was never sent, or a later mail followed it: use that of the newest."
        return render(request, "account/link_over.html", {"sentence": sentence}, status=404)
    except Refused as refusal:
        context = {"sentence": refusal.sentence}
        return render(request, "account/link_over.html", context, status=410)
    form = joining_form(request, found)

    def write() -> str:
        return entered(request, act_join(token=token, at=now, **form.cleaned_data))

    return edit(
        request, form=form, write=write, to=lambda where: where, title="Join Foam ITM",
        save="Join", said="", template="account/join.html", back="", crumbs=[], found=found,
        other=request.user if request.user.is_authenticated and request.user != found.known
        else None,
    )  # fmt: skip


def joining_form(request: HttpRequest, found: Joining) -> Any:
    given = request.POST if request.method == "POST" else None
    form = AnsweringForm if found.known else JoinForm
    return form(given, founds=found.invitation.founds)


def entered(request: HttpRequest, actor: Actor) -> str:
    """Where a person goes on who has just joined. There is one way to sign in, and this is none."""
    user = actor.user
    if user is None:
        raise Http404
    if request.user == user:
        mine = user.memberships.filter(organisation=actor.organisation).latest("pk")
        request.session["membership"] = str(mine.key)
        messages.success(request, f"You joined {actor.organisation} and act for it now.")
        return reverse("home")
    if request.user.is_authenticated:
        logout(request)
    messages.success(request, f"You joined {actor.organisation}. Sign in with {user.email}.")
    return reverse("sign_in")


urls: list[URLPattern] = [
    path("people/", people_list, name="people"),
    path("people/invite/", invite, name="invite"),
    path("people/<uuid:key>/", person, name="person"),
    path("people/<uuid:key>/role/", person_role, name="person_role"),
    path("people/<uuid:key>/remove/", person_remove, name="person_remove"),
    path("contractors/invite/", contractor_invite, name="contractor_invite"),
    path("invitations/<uuid:key>/", invitation, name="invitation"),
    path("invitations/<uuid:key>/again/", invitation_again, name="invitation_again"),
    path("invitations/<uuid:key>/withdraw/", invitation_withdraw, name="invitation_withdraw"),
    path("join/<str:token>/", join, name="join"),
]
