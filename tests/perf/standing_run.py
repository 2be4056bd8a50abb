"""What `tests.perf.standing` measures: the page, the sweep, and the plans of their queries."""

import argparse
import os
import random
import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import connection
from django.db.models import Case, F, Value, When
from django.test import Client
from django.test.utils import CaptureQueriesContext, setup_test_environment
from django.urls import reverse
from django.utils import timezone

from itm.accounts.actor import Actor, system
from itm.core import history
from itm.notices.calendar import feed, shown
from itm.registry.models import FoamSystem, Site
from itm.schedule.models import Duty, Requirement
from itm.schedule.standing import stand
from itm.schedule.sweep import days_of, passed, sweep
from itm.trends.next_things import duty_branches
from itm.trends.stretch import PAGE
from tests.factories import FoamSystemFactory, OrganisationFactory, SiteFactory, actor_of

DUTIES = 40
ROUNDS = 15
ZONES = ["Europe/Lisbon", "America/Denver", "Asia/Kolkata", "Pacific/Auckland", "UTC"]
NOW = timezone.now().replace(hour=12, minute=0, second=0, microsecond=0)
TODAY = NOW.date()


@contextmanager
def own_database() -> Iterator[None]:
    named = connection.settings_dict
    if connection.vendor == "sqlite":
        named["TEST"]["NAME"] = os.path.join(os.environ["ITM_DATA"], "perf.sqlite3")
    else:
        named["TEST"]["NAME"] = f"itm_perf_{os.getpid()}"
    before = named["NAME"]
    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    try:
        yield
    finally:
        connection.creation.destroy_test_db(before, verbosity=0)


def grow(owner: Actor, count: int, drawn: random.Random) -> None:
    """So many more sites, each with one system and its duties; one in forty is overdue."""
    by, rows = system(TODAY), list(Requirement.objects.order_by("pk")[:DUTIES])
    if len(rows) < DUTIES:
        raise SystemExit("The programmes hold fewer rows than a site has duties here.")
    begun = Site.objects.count()
    with history.bulk(by, "invented", Site):
        sites = Site.objects.bulk_create(
            SiteFactory.build(
                owner=owner.organisation, name=f"Invented {n:05}", time_zone=ZONES[n % len(ZONES)]
            )
            for n in range(begun, begun + count)
        )
    with history.bulk(by, "invented", FoamSystem):
        systems = FoamSystem.objects.bulk_create(
            FoamSystemFactory.build(site=site) for site in sites
        )
    for start in range(0, count, 250):
        duties = []
        for row in systems[start : start + 250]:
            for requirement in rows:
                duties.append(invented(row, requirement, drawn))
        with history.bulk(by, "invented", Duty):
            Duty.objects.bulk_create(duties, batch_size=2000)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def invented(row: FoamSystem, requirement: Requirement, drawn: random.Random) -> Duty:
    """Yearly, nine to fifteen months, anywhere in its cycle; one in forty is past its end."""
    late = drawn.random() < 1 / 40
    latest = TODAY + timedelta(days=drawn.randrange(-200, 0) if late else drawn.randrange(457))
    due = latest - timedelta(days=92)
    duty = Duty(
        site=row.site, requirement=requirement, system=row, counts_from=due - timedelta(days=365),
        window_opens_on=due - timedelta(days=91), due_on=due, latest_on=latest,
    )  # fmt: skip
    stand(duty, TODAY)
    return duty


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


def page(client: Client) -> bytes:
    answer = client.get(reverse("home"))
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


def plans(actor: Actor) -> None:
    how: dict[str, Any] = {"analyze": True} if connection.vendor == "postgresql" else {}
    for name, rows in duty_branches(actor).items():
        print(f"  {name}:")
        print(indented(rows.values("pk")[: PAGE + 1].explain(**how)))
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
        clients = {name: client_of(actor) for name, actor in people.items()}
        grow(people["five"], 5, drawn)
        print(f"{connection.vendor}, {DUTIES} duties a site, page of {PAGE} rows")
        had, first = 0, 0.0
        for count in asked.sites:
            grow(people["many"], count - had, drawn)
            had = count
            took = pages(clients)
            first = first or took["many"]
            print(
                f"  {count:6,} sites: none {took['none'] * 1e3:6.1f} ms, five sites "
                f"{took['five'] * 1e3:6.1f} ms, all {took['many'] * 1e3:6.1f} ms = "
                f"{took['many'] / took['none']:.2f} times none, {took['many'] / first:.2f} times "
                f"that of the fewest; {queries(clients['many'])} queries, "
                f"{queries(clients['none'])} with none"
            )
        calendars(people["many"])
        print("Plans of the page")
        plans(people["many"])
        print("Plans of the page, five sites of all")
        plans(people["five"])
        if asked.sweep > had:
            grow(people["many"], asked.sweep - had, drawn)
        print(f"Sweep of {Duty.objects.count():,} duties, {asked.days} days one after the other")
        sweeps(asked.days)
