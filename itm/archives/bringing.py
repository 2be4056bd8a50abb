"""Take the archive of a site into an empty installation: all of it, or nothing.

Rows get new primary keys before the first is written, so every reference is known, and rows under a
seal are written before what seals them: the guards of the database stay on all the time. The end of
the same transaction verifies every seal and result, and writes the data out once more: what does
not give the same bytes does not stay.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.contrib.auth.hashers import make_password
from django.core.files import File
from django.core.files.storage import default_storage
from django.core.management.color import no_style
from django.db import DatabaseError, connection, models, transaction
from django.db.models import Max

from itm.accounts.actor import Actor, system
from itm.accounts.models import Membership, Organisation, User
from itm.archives.columns import (
    FOLDERS,
    STORED,
    Column,
    Reader,
    columns,
    identity,
    pointing,
    value_of,
)
from itm.archives.lines import brought
from itm.archives.models import BroughtIn
from itm.archives.reading import Archive
from itm.archives.tables import NATURAL, TABLES, Model, Sight, Table
from itm.archives.writing import Written, write_rows
from itm.archives.zipping import Sink, chunks
from itm.core import history, triggers
from itm.core.errors import Refused
from itm.core.models import Installation
from itm.findings.catching_up import catch_up
from itm.notices import gathering
from itm.records import chain, latest
from itm.registry.models import Proportioner, Site, Tank, TankMovement
from itm.registry.models.guards import NOBODY
from itm.schedule import standing
from itm.schedule.models import Duty

# Nobody can have an address that ends so: RFC 2606, section 2.
NO_MAIL = "archive.invalid"
BOOK = f"guard_{TankMovement._meta.db_table}_insert"
Say = Callable[[str], None]
Keys = dict[Model, dict[Any, int]]
Lacking = dict[str, frozenset[str]]  # by table, columns that an older archive does not have


@dataclass
class Came:
    """What was taken in. `opened`: deficiencies that its records show and it did not have; `notes`:
    what is no fault, and worth knowing."""

    site: str
    owner: str
    rows: int = 0
    files: int = 0
    seals: int = 0
    people: int = 0
    opened: int = 0
    notes: list[str] = field(default_factory=list)


def bring(archive: Archive, sha256: str, *, at: datetime, say: Say = lambda text: None) -> Came:
    """Refused not_empty, and what is wrong with the archive, by its place.

    The archive was checked before (`Archive.check`). A run that was killed has left nothing but
    files without rows, which the next run finds to be the same.
    """
    stored: list[str] = []
    try:
        with transaction.atomic():
            return _bring(archive, sha256, at, say, stored)
    except BaseException:
        for name in stored:
            default_storage.delete(name)
        raise


def _bring(archive: Archive, sha256: str, at: datetime, say: Say, stored: list[str]) -> Came:
    require_empty()
    keys, lacking = _number(archive)
    say("Writing rows.")
    _write(archive, keys, at)
    say("Writing files.")
    _store(archive, stored)
    site = Site.objects.select_related("owner").get()
    by = system(at.date(), at=at)
    _derive(site, by)
    came = Came(site.name, site.owner.name, rows=sum(archive.counts.values()))
    say("Verifying every seal and result.")
    came.notes = _verify()
    say("Writing the data out once more, to compare it.")
    _compare(archive, site, at, lacking)
    row = BroughtIn(
        site=site, archive_sha256=sha256, manifest_sha256=archive.manifest_sha256,
        taken_at=archive.taken_at, brought_at=at, rows=came.rows, files=len(archive.files),
        invented=bool(archive.manifest.get("invented")),
    )  # fmt: skip
    row.save(by=by, verb="brought in", text=f"{site}, from the archive {sha256}")
    gathering.begin_at(at)  # what came about elsewhere is no news here
    # An archive from before there were deficiencies: what its records show is opened here.
    came.opened = len(catch_up(actor=by, site=site, at=at).opened)
    came.files, came.people = len(archive.files), len(keys[User])
    came.seals = archive.counts.get("seals", 0)
    return came


def require_empty() -> None:
    """Refused not_empty: keys, names and chains of two installations are never mixed."""
    for model, words in (
        (Organisation, "organisations"), (User, "people"), (Site, "sites"),
        (Installation, "the demo"), (history.Change, "lines of history"),
    ):  # fmt: skip
        if count := model._default_manager.count():
            raise Refused(
                "not_empty",
                f"This installation is not empty: it holds {count:,} {words}. An archive comes in "
                "only where nothing else is. Name an empty folder in ITM_DATA, or a new database "
                "in DATABASE_URL, run manage.py migrate, and then this.",
            )


def _number(archive: Archive) -> tuple[Keys, Lacking]:
    """A primary key for every row, in the order in which the rows were made."""
    keys: Keys = {}
    lacking: Lacking = {}
    for table in TABLES:
        own = keys.setdefault(table.model, {})
        if table.model in NATURAL:
            _rules(archive, table, own, lacking)
            continue
        number = table.model._default_manager.aggregate(last=Max("pk"))["last"] or 0
        for place, row in archive.rows(table.name):
            _require_columns(table, row, place, lacking)
            number += 1
            if own.setdefault(identity(table, row), number) != number:
                raise Refused("twice", f"{place}: this row is in the archive twice.")
    return keys, lacking


def _rules(archive: Archive, table: Table, own: dict[Any, int], lacking: Lacking) -> None:
    """Rows of rules that every installation has. One that is here already has to be the same."""
    rows = table.model._default_manager.all()
    here = {
        identity(table, row): (pk, row)
        for pk, row, _ in Reader(table, rows, default_storage.exists)
    }
    number = max((pk for pk, _ in here.values()), default=0)
    for place, row in archive.rows(table.name):
        _require_columns(table, row, place, lacking)
        name = identity(table, row)
        if name in here:
            own[name], held = here[name]
            if {column: held[column] for column in row} != row:
                raise Refused(
                    "other_rule",
                    f"{place}: this installation knows {row.get('code')!r} in another wording. A "
                    "released rule never changes, so one of the two was made by other hands.",
                )
        else:
            number += 1
            own[name] = number


def _require_columns(
    table: Table, row: Mapping[str, Any], place: str, lacking: Lacking
) -> None:  # fmt: skip
    """A column that came after the archive gets its default; all rows of a table lack the same."""
    known = {column.name: column for column in columns(table)}
    if odd := sorted(set(row) - set(known)):
        raise Refused(
            "odd_column",
            f"{place}: this program does not know “{odd[0]}”, and it would be lost. Bring the "
            "program up to the release that made the archive, or a later one.",
        )
    lacks = frozenset(known.keys() - row.keys())
    fixed = {name for name in lacks if not _may_lack(known[name].field)}
    if fixed or lacking.setdefault(table.name, lacks) != lacks:
        raise Refused("lost_column", f"{place}: it lacks “{min(fixed or lacks)}”.")


def _may_lack(field: Any) -> bool:
    return bool(field.has_default() or field.null or field.blank)


def _write(archive: Archive, keys: Keys, at: datetime) -> None:
    fresh = {table: _fresh(archive, table, keys, at) for table in TABLES}
    papers = any(row["excess"] is not None for _, row in archive.rows("tank-book"))
    if papers:
        # What older papers had too much of stays marked, and nothing new may be: of all guards
        # this one alone would refuse a row that is as it was. The close of each book judges it.
        triggers.drop_one(connection, BOOK)
    for table in in_order():
        for place, row in fresh[table]:
            _insert(table, row, place)
    for tank in Tank.objects.order_by("pk"):
        try:
            Tank._base_manager.filter(pk=tank.pk).update(writing=None)
        except DatabaseError as wrong:
            raise Refused("bad_book", f"The book of tank {tank.tag}: {_said(wrong)}") from wrong
    for place, held in archive.rows("history"):
        _insert_line(held, keys, place)
    try:
        connection.check_constraints()
    except DatabaseError as wrong:
        raise Refused("dangling", f"The rows do not fit together: {_said(wrong)}") from wrong
    if papers:
        triggers.lay(connection)
    _reset_numbers()


def in_order() -> list[Table]:
    """What stands under a seal comes before what carries the seal, the deepest first: a guard
    takes no row under a sealed one. All other references are looked at when all rows are there."""

    def depth(model: Any) -> int:
        parent = getattr(model, "guard_parent", "")
        return 1 + depth(model._meta.get_field(parent).related_model) if parent else 0

    return sorted(TABLES, key=lambda table: -depth(table.model))


def _fresh(
    archive: Archive, table: Table, keys: Keys, at: datetime
) -> Iterator[tuple[str, models.Model]]:  # fmt: skip
    """The rows of one table that are not here yet, ready to be written."""
    own = keys[table.model]
    there = (
        set(table.model._default_manager.values_list("pk", flat=True))
        if table.model in NATURAL
        else set()
    )
    for place, held in archive.rows(table.name):
        pk = own[identity(table, held)]
        if pk in there:
            continue
        row = table.model(pk=pk, **_fill(table, held, at))
        for column in columns(table):
            if column.name in held:
                _set(archive, table, column, row, held[column.name], keys, place)
        yield place, row


def _fill(table: Table, held: Mapping[str, Any], at: datetime) -> dict[str, Any]:
    """What no archive holds: nobody signs in, books are open, no duty stands anywhere yet."""
    if table.model is User:
        return {
            "email": f"{held['key']}@{NO_MAIL}", "password": make_password(None),
            "is_active": False, "joined_at": at,
        }  # fmt: skip
    if table.model is Tank:
        return {"writing_id": NOBODY}
    return {"stands": Duty.Stands.AT_REST} if table.model is Duty else {}


def _set(
    archive: Archive, table: Table, column: Column, row: Any, value: Any, keys: Keys, place: str
) -> None:  # fmt: skip
    if column.points_to is not None:
        setattr(row, column.field.attname, _here(column, value, keys, place))
    elif column.is_file:
        setattr(row, column.name, _named(archive, table, column, value, place))
    elif column.is_bytes:
        if value is not None:
            _require_place(archive, table, column, value, place)
            value = archive.read(value)
        setattr(row, column.name, value)
    else:
        setattr(row, column.name, value_of(column, value, place))


def _here(column: Column, value: Any, keys: Keys, place: str) -> int | None:
    if value is None:
        return None
    try:
        return keys[column.field.related_model][pointing(value)]
    except (KeyError, TypeError) as wrong:
        raise Refused(
            "dangling", f"{place}: “{column.name}” names {value!r}, which is not in the archive."
        ) from wrong


def _named(archive: Archive, table: Table, column: Column, value: Any, place: str) -> str:
    if value is None:
        return ""
    name = value.get("stored_as") if isinstance(value, dict) else None
    if not isinstance(name, str) or not STORED.fullmatch(name):
        raise Refused("odd_path", f"{place}: “{column.name}” names no file that could be stored.")
    if value.get("place") is not None:
        _require_place(archive, table, column, value["place"], place)
    return name


def _require_place(
    archive: Archive, table: Table, column: Column, value: Any, place: str
) -> None:  # fmt: skip
    folder = FOLDERS[table.name, column.name]
    if value not in archive.files or not value.startswith(f"{folder}/"):
        raise Refused("lost_file", f"{place}: “{column.name}” names {value!r}, which is not there.")


def _insert(table: Table, row: models.Model, place: str) -> None:
    try:
        # Past the history and every clock of a column: the row is as it was.
        row.save_base(raw=True, force_insert=True)
    except (DatabaseError, ValueError, TypeError) as wrong:
        raise Refused("bad_row", f"{place}: {_said(wrong)}") from wrong


def _insert_line(held: dict[str, Any], keys: Keys, place: str) -> None:
    try:
        brought(held, keys).save_base(raw=True, force_insert=True)
    except (DatabaseError, KeyError, ValueError, TypeError, AttributeError) as wrong:
        raise Refused("bad_row", f"{place}: {_said(wrong)}") from wrong


def _said(wrong: Exception) -> str:
    return f"the database refuses it ({str(wrong).splitlines()[0][:200]})."


def _reset_numbers() -> None:
    """So that the next row gets a number of its own; SQLite knows by itself."""
    every = [table.model for table in TABLES]
    for statement in connection.ops.sequence_reset_sql(no_style(), every):
        with connection.cursor() as cursor:
            cursor.execute(statement)


def _store(archive: Archive, stored: list[str]) -> None:
    """Each file under the very name that its row has, because seals hold that name."""
    for table in TABLES:
        files = [column for column in columns(table) if column.is_file]
        if not files:
            continue
        for place, row in archive.rows(table.name):
            for column in files:
                held = row.get(column.name)
                if held and held["place"]:
                    _store_one(archive, held["stored_as"], held["place"], place, stored)


def _store_one(archive: Archive, name: str, place: str, of: str, stored: list[str]) -> None:
    if default_storage.exists(name):
        with default_storage.open(name) as file:
            same = Sink().add(place, chunks(file)).sha256 == archive.files[place].sha256
        if not same:
            raise Refused("taken", f"{of}: the store holds another file as {name}.")
        return
    with archive.open(place) as file:
        stored.append(name)
        got = default_storage.save(name, File(file))
    if got != name:
        stored.append(got)
        raise Refused("taken", f"{of}: the store would not take it as {name}.")


def _derive(site: Site, by: Actor) -> None:
    """What follows from the rows, and is in no archive."""
    for device in Proportioner.objects.order_by("pk"):
        latest.note(device)
    standing.restand_site(actor=by, site=site)


def _verify() -> list[str]:
    """Refused broken, differs. What another engine version computes otherwise is no fault."""
    notes = []
    for found in chain.verify():
        if found.kind != "other_version":
            raise Refused(found.kind, f"{found.place}: {found.sentence}")
        notes.append(f"{found.place}: {found.sentence}")
    return notes


def _compare(archive: Archive, site: Site, at: datetime, lacking: Lacking) -> None:
    """Refused unlike: the same rows give the same bytes, or something was lost on the way. What
    came after the archive is left out of it."""
    sink = Sink()
    owner = Actor(None, site.owner, Membership.Role.MANAGER, at.date(), "command", at)
    write_rows(sink, Sight(owner, site), Written(), lacking)
    for entry in sink.entries:
        noted = archive.files.get(entry.path)
        if noted is None and not entry.size:
            continue  # a table that came after the archive, without a row
        if noted is None or noted.sha256 != entry.sha256:
            raise Refused(
                "unlike",
                f"“{entry.path}” would not come out again as it came in, so nothing stays. Tell "
                "whoever made the archive.",
            )
