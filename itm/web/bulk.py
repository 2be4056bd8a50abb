"""Work over many sites at once: first what would follow, then all of it or nothing."""

from collections import Counter
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_http_methods

from itm.accounts.actor import require_kind
from itm.actions.shift_duties import shift_duties
from itm.core.figures import day
from itm.registry.forms import ReassignForm
from itm.registry.reassigning import reassign, require_reassigner
from itm.schedule.forms import ShiftForm
from itm.schedule.shifting import own_open
from itm.web.editing import own_date
from itm.web.guard import actor_of, signed_in
from itm.web.weighing import weigh

SHOWN = 10  # of the sites or duties touched, in what would follow


def some(names: list[str]) -> str:
    rest = len(names) - SHOWN
    return "; ".join(names[:SHOWN]) + (f"; and {rest} more" if rest > 0 else "")


@signed_in
@require_http_methods(["GET", "POST"])
def contractor_reassign(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    require_reassigner(actor)
    form = ReassignForm(request.POST or None, actor=actor, initial={"starts_on": own_date(actor)})

    def said(done: Any) -> list[str]:
        leaves, follows = form.cleaned_data["leaves"], form.cleaned_data["follows"]
        count = "1 site" if len(done.sites) == 1 else f"{len(done.sites)} sites"
        starts_on = day(form.cleaned_data["starts_on"])
        return [
            f"{count}: {leaves} leaves after {day(done.leaves_on)}, {follows} is engaged from "
            f"{starts_on}.",
            f"{some([site.name for site in done.sites])}.",
        ]

    return weigh(
        request, form=form, said=said, write=lambda: reassign(actor=actor, **form.values),
        to=lambda _: reverse("sites"), title="Reassign a contractor", save="Reassign",
        back=reverse("sites"), crumbs=[("Sites", reverse("sites"))],
        lead="One contractor leaves many of your sites and another takes over on one day.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def duties_shift(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    require_kind(actor, "owner", what="move due dates")
    form = ShiftForm(
        request.POST or None,
        actor=actor,
        initial={"how": ShiftForm.BY, "site": request.GET.get("site")},
    )

    def write() -> Any:
        cleaned = form.cleaned_data
        duties = list(own_open(actor, cleaned["site"], cleaned["task"]))
        return shift_duties(actor=actor, duties=duties, by=form.shift, why=cleaned["why"])

    def said(moved: Any) -> list[str]:
        sites = {duty.site_id for duty in moved}
        count = "1 duty" if len(moved) == 1 else f"{len(moved)} duties"
        at = "1 site" if len(sites) == 1 else f"{len(sites)} sites"
        what = Counter(str(duty.requirement) for duty in moved)
        names = [f"{name} ({number})" for name, number in what.most_common()]
        return [f"{count} at {at} move inside their windows.", f"{some(names)}."]

    return weigh(
        request, form=form, said=said, write=write, to=lambda _: reverse("home"),
        title="Move due dates", save="Move them", back=reverse("home"),
        crumbs=[("Programmes", reverse("programmes")), ("Move due dates", "")],
        lead="For a shutdown, a turnaround or the weather. The windows stay: nothing becomes late "
        "later than its programme says, and when one does not fit, none is moved. Retests are "
        "not moved.",
    )  # fmt: skip


urls: list[URLPattern] = [
    path("contractors/reassign/", contractor_reassign, name="contractor_reassign"),
    path("duties/move/", duties_shift, name="duties_shift"),
]
