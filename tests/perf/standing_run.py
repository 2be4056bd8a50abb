"""What `tests.perf.standing` measures: the page, the sweep, and the plans of their queries."""

import argparse
import random
import statistics
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.db import connection
from django.db.models import Case, F, Value, When
from django.test import Client
from django.test.utils import CaptureQueriesContext, setup_test_environment
from django.urls import reverse

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.notices.calendar import feed, shown
from itm.registry.models import Site
from itm.schedule.models import Duty
from itm.schedule.queries import few_sites
from itm.schedule.sweep import days_of, passed, sweep
from itm.trends.next_things import duty_branches
from itm.trends.stretch import PAGE
from itm.trends.systems import Scope, branches
from tests.factories import OrganisationFactory, actor_of
from tests.perf.invented import DUTIES, NOW, grow, own_database

ROUNDS = 15
# Whose page beside that of whom; both of each pair open the same page.
PAIRS = (("many", "none"), ("five", "none"), ("authority", "no jurisdiction"))


# The page --------------------------------------------------------------------------------------


def client_of(actor: Actor) -> Client:
    client = Client()
    if actor.user is None:
        raise LookupError("A page needs a person.")
    client.force_login(actor.user)
    return client


def seconds(deed: Callable[[], Any]) -> float:
    begun = time.perf_counter()
    deed()
    return time.perf_counter() - begun


def page(client: Client, address: str = "") -> bytes:
    answer = client.get(address or reverse("home"))
    if answer.status_code != 200:
        raise SystemExit(f"The page answered {answer.status_code}.")
    return answer.content


def pages(clients: dict[str, Client]) -> dict[str, float]:
    """Median seconds of each, taken in turn so that a busy machine slows all alike."""
    taken: dict[str, list[float]] = {name: [] for name in clients}
    for _ in range(ROUNDS):
        for name, client in clients.items():
            taken[name].append(seconds(lambda client=client: page(client)))
    return {name: statistics.median(found) for name, found in taken.items()}


def queries(client: Client) -> int:
    with CaptureQueriesContext(connection) as captured:
        page(client)
    return len(captured)


# The sweep ---------------------------------------------------------------------------------------


def scanned(now: datetime) -> int:
    """The rows whose stored standing a day has changed, found by looking at every open duty."""
    zones = Site.objects.values_list("time_zone", flat=True).distinct()
    found = 0
    for day, here in days_of(zones, now).items():
        by_dates = Case(
            When(latest_on__lt=day, then=Value("overdue")),
            When(due_on__lte=day, then=Value("due")),
            When(window_opens_on__lte=day, then=Value("open")),
            default=Value("ahead"),
        )
        rows = Duty._base_manager.filter(
            done_on=None, withdrawn_on=None, site__in=Site.objects.filter(time_zone__in=here)
        )
        rows = rows.annotate(by_dates=by_dates).exclude(stands="at_rest")
        found += len(rows.exclude(stands=F("by_dates")).values_list("pk", flat=True))
    return found


def sweeps(days: int) -> None:
    figures = []
    for number in range(1, days + 1):
        now = NOW + timedelta(days=number)
        changed: list[int] = []
        scan = seconds(lambda now=now, changed=changed: changed.append(scanned(now)))
        find = seconds(lambda now=now: [len(rows.values_list("pk")) for _, rows in passed(now)])
        moved: list[int] = []
        swept = seconds(lambda now=now, moved=moved: moved.append(sweep(now)))
        if moved != changed:
            raise SystemExit(f"{moved} moved, {changed} had changed.")
        figures.append((moved[0], scan, find, swept))
    moved_rows = sum(row[0] for row in figures) / len(figures)
    scan, find, swept = (statistics.median(row[place] for row in figures) for place in (1, 2, 3))
    again = seconds(lambda: sweep(NOW + timedelta(days=days)))
    print(f"  a day moves {moved_rows:,.0f} rows, every one counted by the scan too, no other")
    print(f"  scan that finds them {scan * 1e3:8.1f} ms   by the index {find * 1e3:8.1f} ms")
    print(f"  sweep                {swept * 1e3:8.1f} ms   {swept / scan:.2f} times the scan")
    print(f"  a second sweep       {again * 1e3:8.1f} ms")


def calendars(actor: Actor) -> None:
    """The feed beside the query that fetches its rows."""
    rows, whole, count = [], [], 0
    for _ in range(3):
        rows.append(seconds(lambda: list(shown(actor, NOW))))
        whole.append(seconds(lambda: feed(actor, NOW)))
        count = feed(actor, NOW).count(b"BEGIN:VEVENT")
    fetched, written = statistics.median(rows), statistics.median(whole)
    print(f"Calendar of {count:,} events")
    print(f"  its rows {fetched * 1e3:8.1f} ms   whole {written * 1e3:8.1f} ms   ", end="")
    print(f"{written / fetched:.2f} times the rows")


def searches(found: Client, none: Client) -> None:
    """Beside the same page for who sees no site: a word of one thing, of many, and of none."""
    for said, words in {
        "one site": "Invented 00042", "many": "Harbour", "a tag": "V-4242", "nothing": "zzz qqq",
    }.items():  # fmt: skip
        address = f"{reverse('search')}?{urlencode({'find': words})}"
        taken: dict[str, list[float]] = {"none": [], "all": []}
        for _ in range(ROUNDS):
            for name, client in (("none", none), ("all", found)):
                taken[name].append(seconds(lambda client=client, to=address: page(client, to)))
        empty, full = statistics.median(taken["none"]), statistics.median(taken["all"])
        print(f"  {said}: {full * 1e3:7.1f} ms, {full / empty:.2f} times none")


def plans(actor: Actor, authority: Actor) -> None:
    how: dict[str, Any] = {"analyze": True} if connection.vendor == "postgresql" else {}
    duties = duty_branches(actor, few_sites(actor))
    things = [(name, rows.values("pk")) for name, rows in duties.items()]
    for name, keys in [*things, *branches(Scope.of(authority, ""))]:
        print(f"  {name}:")
        print(indented(keys[: PAGE + 1].explain(**how)))
    _, rows = passed(NOW + timedelta(days=400))[0]
    print("  what a sweep finds:")
    print(indented(rows.values("pk").explain()))


def indented(text: str) -> str:
    return "\n".join(f"    {line}" for line in text.splitlines())


def main() -> None:
    parser = argparse.ArgumentParser(prog="tests.perf.standing")
    parser.add_argument("--sites", type=int, nargs="+", default=[100, 1000, 10000])
    parser.add_argument("--sweep", type=int, default=25000, help="sites at the sweep")
    parser.add_argument("--days", type=int, default=7, help="swept one after the other")
    asked = parser.parse_args()
    setup_test_environment()
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    with own_database():
        drawn = random.Random(20260615)
        people = {name: actor_of(OrganisationFactory()) for name in ("many", "five", "none")}
        for name in ("authority", "no jurisdiction"):
            kind = Organisation.Kind.AUTHORITY
            people[name] = actor_of(OrganisationFactory(kind=kind))
        clients = {name: client_of(actor) for name, actor in people.items()}
        over = people["authority"].organisation
        if over is None:
            raise LookupError("An authority is an organisation.")
        grow(people["five"], over, 5, drawn)
        print(f"{connection.vendor}, {DUTIES} duties a site, page of {PAGE} rows")
        had, first = 0, dict[str, float]()
        for count in asked.sites:
            grow(people["many"], over, count - had, drawn)
            had = count
            took = pages(clients)
            first = first or took
            print(f"  {count:6,} sites")
            for who, without in PAIRS:
                print(
                    f"    {who}: {took[who] * 1e3:.1f} ms, {took[who] / took[without]:.2f} times "
                    f"the page with none, {took[who] / first[who]:.2f} times that of the fewest; "
                    f"{queries(clients[who])} queries, {queries(clients[without])} with none"
                )
        print(f"Search among {had:,} sites")
        searches(clients["many"], clients["none"])
        calendars(people["many"])
        print("Plans of the pages")
        plans(people["many"], people["authority"])
        if asked.sweep > had:
            grow(people["many"], over, asked.sweep - had, drawn)
        print(f"Sweep of {Duty.objects.count():,} duties, {asked.days} days one after the other")
        sweeps(asked.days)
