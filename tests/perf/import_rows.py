"""How long it takes to take 100,000 rows in, beside bare reading by the fastest reader.

`python -m tests.perf.import_rows [ROWS]` in a database of its own: SQLite in a folder that goes
again, or PostgreSQL where DATABASE_URL names a server. Both in one run, one after the other and
each the better of two: bare reading counts the rows and keeps nothing, the import reads, judges
and stores them. Asked for: at most 2.5 times on SQLite and 3 times on PostgreSQL.
"""

import csv
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import django
import xlsxwriter
from python_calamine import CalamineWorkbook

ROWS = 100_000
RUNS = 2
DEVICES, POINTS = 250, ("minimum", "design")
HEAD = (
    "site", "system", "proportioner", "flow_point", "tested_on", "percent", "lower_limit",
    "upper_limit", "method", "done_by", "paper",
)  # fmt: skip


def rows(count: int) -> list[list[Any]]:
    """Invented: every device at both flow points once in six days, so that days suffice."""
    out = []
    for number in range(count):
        device, turn = number % DEVICES, number // DEVICES
        day = date(2000, 1, 1) + timedelta(days=turn // 2 * 30)
        out.append(
            [f"Site {device // 25}", f"System {device // 5 % 5}", f"PR-{device % 5}",
             POINTS[turn % 2], day, round(3 + number * 7 % 90 / 100, 2), 3.0, 3.9, "index",
             f"Crew {number % 7}", f"P-{number:06d}"]
        )  # fmt: skip
    return out


def write(folder: Path, table: list[list[Any]]) -> dict[str, Path]:
    paths = {"xlsx": folder / "table.xlsx", "csv": folder / "table.csv"}
    options = {"constant_memory": True, "default_date_format": "yyyy-mm-dd"}
    with xlsxwriter.Workbook(paths["xlsx"], options) as book:
        sheet = book.add_worksheet("Results")
        sheet.write_row(0, 0, HEAD)
        for at, row in enumerate(table, 1):
            for column, cell in enumerate(row):
                if isinstance(cell, date):
                    sheet.write_datetime(at, column, datetime(cell.year, cell.month, cell.day))
                else:
                    sheet.write(at, column, cell)
    with paths["csv"].open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(HEAD)
        writer.writerows(table)
    return paths


def bare(kind: str, path: Path) -> int:
    if kind == "xlsx":
        sheet = CalamineWorkbook.from_path(str(path)).get_sheet_by_index(0)
        return sum(1 for _ in sheet.iter_rows())
    with path.open(newline="", encoding="utf-8") as file:
        return sum(1 for _ in csv.reader(file))


def world() -> Any:
    """An owner with 250 devices, in few statements: the table is what is measured."""
    from itm.accounts.models import Organisation
    from tests.factories import (
        FoamSystemFactory,
        OrganisationFactory,
        ProportionerFactory,
        SiteFactory,
        TankFactory,
        actor_of,
    )

    owner = OrganisationFactory(kind=Organisation.Kind.OWNER, name="Measured")
    for at in range(DEVICES // 25):
        site = SiteFactory(owner=owner, name=f"Site {at}")
        tank = TankFactory(site=site)
        for number in range(5):
            system = FoamSystemFactory(site=site, name=f"System {number}")
            for tag in range(5):
                ProportionerFactory(system=system, tank=tank, tag=f"PR-{tag}")
    return actor_of(owner, today=date(2050, 1, 1))


def best(deed: Callable[[], Any]) -> tuple[float, float]:
    """Wall and processor seconds of the quickest of some runs; processes that were started too."""
    found = []
    for _ in range(RUNS):
        wall, cpu = time.perf_counter(), _cpu()
        deed()
        found.append((time.perf_counter() - wall, _cpu() - cpu))
    return min(found)


def _cpu() -> float:
    both = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in both)


def peak() -> float:
    """Megabytes of this process at most so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


READER = """
import sys
from itm.intake.tables.workbook_reader import main
main(sys.argv[1], "Results")
told = open("/proc/self/status").read()
print(told.split("VmHWM:")[1].split()[0], file=sys.stderr)
"""


def reading(path: Path) -> float:
    """Megabytes of the process that reads a workbook, at most. It tells them itself: what the
    system says of a child counts what its parent had when it was begun."""
    command = [sys.executable, "-c", READER, str(path)]
    said = subprocess.run(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, check=True, text=True
    )
    return int(said.stderr) / 1024


def imported(actor: Any, kind: str, path: Path) -> tuple[Callable[[], None], Callable[[], None]]:
    """Read, judged and stored; and the whole deed with the duties of 250 devices derived anew. The
    file is handed in and looked through before."""
    from django.db import transaction

    from itm.actions.import_history import import_history
    from itm.intake import taking, uploads
    from itm.intake.looking import look
    from itm.records import past_storing

    now = datetime.now(UTC)
    with path.open("rb") as file:
        row, _ = uploads.take_in(actor=actor, kind="history", file=file, name=path.name, at=now)
    wall = time.perf_counter()
    look(actor=actor, row=row)
    print(f"  {kind}: look {time.perf_counter() - wall:.2f} s, {row.state}")

    # Taken in and rolled back, all but the last write to disk, so that every run finds the same
    # tables.
    def stored() -> None:
        with transaction.atomic():
            _, opened = taking.begin(actor, row.key)
            assert opened is not None
            blocks = (columns for _, columns in opened.judged())
            past_storing.store(
                actor=actor, kind=past_storing.RESULTS, name=row.name, blocks=blocks, at=now
            )
            taking.require_right(opened.reader.told)
            transaction.set_rollback(True)

    def deed() -> None:
        with transaction.atomic():
            import_history(actor=actor, key=row.key, at=now)
            transaction.set_rollback(True)

    return stored, deed


def measure(count: int) -> None:
    from django.core.management import call_command
    from django.db import connection

    call_command("migrate", verbosity=0)
    from itm.records.models import PastResult

    assert not PastResult.objects.exists(), "this measures in a database of its own"
    actor = world()
    with tempfile.TemporaryDirectory() as folder:
        small, paths = Path(folder) / "small", write(Path(folder), rows(count))
        small.mkdir()
        few = write(small, rows(count // 10))
        print(f"{connection.vendor}, {count:,} rows")
        for kind, path in paths.items():
            imported(actor, kind, few[kind])[0]()
            before = peak()
            stored, deed = imported(actor, kind, path)
            asked = best(lambda kind=kind, path=path: bare(kind, path))
            took, whole = best(stored), best(deed)
            held = [reading(one) if kind == "xlsx" else 0 for one in (few[kind], path)]
            ratio, cpu = took[0] / asked[0], took[1] / asked[1]
            print(
                f"  {kind}: bare {asked[0]:.2f} s, read, judged and stored {took[0]:.2f} s, ratio "
                f"{ratio:.2f} (processor time {asked[1]:.2f} and {took[1]:.2f} s, {cpu:.2f}); with "
                f"the duties {whole[0]:.2f} s ({whole[1]:.2f} s); memory of ten times the rows "
                f"{peak() - before:+.0f} MB here; the process that reads a workbook takes "
                f"{held[0]:.0f} and {held[1]:.0f} MB"
            )


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else ROWS
    with tempfile.TemporaryDirectory() as folder:
        os.environ.setdefault("ITM_DATA", folder)
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "itm.settings")
        os.environ.setdefault("OUTBOX_NUDGE", "none")
        django.setup()
        measure(count)


if __name__ == "__main__":
    main()
