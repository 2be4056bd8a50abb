"""One PDF of every kind, made from the demo, for a checker that is not ours.

    ITM_DATA=FOLDER_OF_A_DEMO python -m tests.papers FOLDER

Signs in as the demo's own people and asks their pages; a kind that the demo has none of is a fault.
"""

import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

PEOPLE = {"owner": "owner@example.org", "contractor": "contractor@example.org",
          "authority": "inspector@example.org"}  # fmt: skip


def sealed_reports() -> Iterator[tuple[str, bytes]]:
    """Of a bench, of each direct method that the demo has, and of a concentrate check."""
    from itm.records.models import ConcentrateCheck, ProportioningTest
    from itm.reports import queries
    from itm.reports.services import render_report

    tests = ProportioningTest.objects.filter(state="sealed").order_by("-tested_on", "-pk")
    found: dict[str, Any] = {}
    for test in tests:
        found.setdefault(f"test-{test.method}", test)
    found["check"] = ConcentrateCheck.objects.filter(state="sealed").order_by("-pk")[0]
    for name, record in found.items():
        render_report(str(record.key))
        made = queries.report_bytes(record.seal)
        assert made is not None, name
        yield name, made


def addresses() -> Iterator[tuple[str, str, str]]:
    """Name, who asks, and where."""
    from django.urls import reverse

    from itm.accounts.models import Membership
    from itm.records.models import ProportioningTest

    owner = Membership.objects.get(user__email=PEOPLE["owner"]).organisation
    own = ProportioningTest.objects.filter(state="sealed", site__owner=owner)
    sealed = own.order_by("-tested_on", "-pk")[0]
    draft = ProportioningTest.objects.filter(state="draft", bench__isnull=False).order_by("-pk")[0]
    year = [sealed.site.key, sealed.tested_on.year, "a4"]
    yield "site-year", "owner", reverse("site_year_pdf", args=year)
    yield "visit", "owner", reverse("visit_report_pdf", args=[sealed.visit.key, "a4"])
    yield "pfas", "owner", reverse("pfas_pdf", args=["a4"])
    yield "deficiencies", "owner", reverse("deficiencies_pdf", args=["letter"])
    yield "jurisdiction", "authority", reverse("jurisdiction_pdf", args=["a4"])
    device = sealed.proportioner
    lot = device.tank.movements.filter(lot__isnull=False).order_by("-moved_on", "-pk")[0].lot
    yield "trend", "owner", reverse("trend_pdf", args=[device.key, "a4"])
    yield "tank-history", "owner", reverse("tank_history_pdf", args=[device.tank.key, "letter"])
    yield "lot-history", "owner", reverse("lot_history_pdf", args=[lot.key, "a4"])
    yield "side-by-side", "owner", reverse("side_by_side_pdf", args=["letter"])
    yield "field-sheet", "contractor", reverse("field_sheet_pdf", args=[draft.visit.key, "a4"])
    yield "labels", "contractor", reverse("labels_pdf", args=[draft.visit.key, "letter"])


def summaries() -> Iterator[tuple[str, bytes]]:
    from django.test import Client

    from itm.accounts.models import User

    for name, who, address in addresses():
        client = Client(HTTP_HOST="localhost")
        client.force_login(User.objects.get(email=PEOPLE[who]))
        got = client.get(address)
        assert got.status_code == 200, (name, got.status_code, address)
        yield name, got.content


def main() -> None:
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for made in (sealed_reports, summaries):
        for name, data in made():
            assert data.startswith(b"%PDF-"), name
            (folder / f"{name}.pdf").write_bytes(data)
            print(f"{name}.pdf, {len(data)} bytes")


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "itm.settings")
    os.environ["OUTBOX_NUDGE"] = "none"
    import django

    django.setup()
    main()
