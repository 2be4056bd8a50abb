"""The weekly summary as a mail: plain words, links, and how to stop it with one click."""

from datetime import date, datetime, timedelta

from django.template.loader import render_to_string

from itm.accounts.actor import Actor
from itm.core import folding, letters
from itm.core.figures import day
from itm.core.letters import address
from itm.findings.models import Order
from itm.findings.queries import all_orders
from itm.notices import stopping
from itm.notices.seals import lately_sealed, newest_seals
from itm.notices.wrong import Wrong, wrong_now
from itm.registry.models import Certificate
from itm.schedule import calibrations
from itm.schedule.models import Duty
from itm.schedule.queries import in_reach, open_duties
from itm.schedule.told import READ, told
from itm.trends.next_things import KINDS, next_things, standings
from itm.trends.orders_due import to_meet
from itm.trends.thing import Thing

MOST = 50  # lines of what comes; the page has the rest
BY_NAME = frozenset({"impairment", "deficiency", "order"})  # told one by one, with links
BELONGS = {"lean": "result", "rich": "result", "undecided": "result"}


def send(actor: Actor, now: datetime, on: date, lead_days: int, token: str) -> None:
    """One mail to the person who acts. Raises what the mail server raises."""
    if actor.user is None:
        raise LookupError("A mail needs a person.")
    counts = {name: count for name, _, count in standings(actor, now)}
    wrong = wrong_now(actor, now)
    head = f"{counts['overdue']} overdue, {counts['due']} due"
    head = f"{wrong.head}, {head}" if wrong.head else head
    stop = address("unsubscribe", token)
    letters.send(
        to=actor.user.email,
        subject=f"{actor.organisation_name}: {head}, {day(on)}",
        body=body(actor, now, lead_days, stop, wrong),
        name=f"summary.{actor.user.key}.{actor.organisation_id}.{on}",
        headers=stopping.headers(stop),
    )


def body(actor: Actor, now: datetime, lead_days: int, stop: str, wrong: Wrong) -> str:
    found = next_things(actor, now, without=BY_NAME)
    sections: dict[str, list[Thing]] = {}
    for thing in found.object_list:
        kind = BELONGS.get(thing.kind, thing.kind)
        if kind != "open":  # told below, where its day lies within the lead
            sections.setdefault(KINDS[kind], []).append(thing)
    last = now.date() + timedelta(days=lead_days)
    rows = in_reach(actor, open_duties(actor)).filter(
        stands__in=("ahead", "open"), due_on__lte=last
    )
    coming = rows.select_related(*READ).order_by("due_on", "pk")[: MOST + 1]
    papers = calibrations.ahead(actor, now, last)[: MOST + 1]
    lines = sorted(
        [(duty.due_on, line(duty)) for duty in coming]
        + [(paper.due_on, calibration_line(paper)) for paper in papers]
    )
    orders = [
        (to_meet(row, now), address("order", row.key))
        for row in all_orders(actor).filter(Order.OPEN).order_by("due_on", "pk")[: MOST + 1]
    ]
    context = {
        "actor": actor,
        "wrong": wrong,
        "orders": orders[:MOST],
        "more_orders": len(orders) > MOST,
        "orders_url": address("orders") + "?stands=open",
        "sections": sections,
        "more": found.has_next,
        "lead_days": lead_days,
        "coming": [text for _, text in lines[:MOST]],
        "more_coming": len(lines) > MOST,
        "impairments_url": address("impairments"),
        "deficiencies_url": address("deficiencies") + "?stands=open",
        "things_url": address("due"),
        "weeks_url": address("due_weeks"),
        "wish_url": address("notices"),
        "stop": stop,
        "seals": newest_seals(actor, lately_sealed(actor)),
        "fold": folding.words(),
    }
    return render_to_string("mail/summary.txt", context)


def line(duty: Duty) -> str:
    said = told(duty)
    return f"{day(duty.due_on)}  {said.what} - {duty.site.name}: {said.where}"


def calibration_line(paper: Certificate) -> str:
    return f"{day(paper.due_on)}  Calibration - {paper.instrument}"
