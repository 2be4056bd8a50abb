"""From when law on PFAS in foam holds at a site: rows of a file, and who read them in the text.

A row claims nothing: it says where to look, how sure it is, and that nobody may rely on it before
somebody has read the text. What a date means for a tank is that person's to say.
"""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings

from itm.accounts.actor import Actor
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.figures import day
from itm.registry.models import PfasDateCheck, Site, SiteAuthority
from itm.registry.services import keep, require_own

FAR = 500  # days, beyond which years say more; own choice
FILE = Path(settings.BASE_DIR) / "fixtures" / "pfas" / "dates.json"


@dataclass(frozen=True)
class LawDate:
    """One row of the file; `on` is empty where no day is known."""

    code: str
    place: str
    on: str
    words: str
    limit: str
    source: str
    confidence: str

    @property
    def day(self) -> date | None:
        return date.fromisoformat(self.on) if self.on else None


@dataclass(frozen=True)
class DateAtSite:
    """A row with how far away it is and what was last found of it here."""

    row: LawDate
    where: str
    days: int | None  # until it holds; below zero since
    check: PfasDateCheck | None

    @property
    def stands(self) -> str:
        if self.row.day is None or self.days is None:
            return "no day known"
        if self.days > FAR:
            return f"from {day(self.row.day)}, in more than {int(self.days / 365.25)} year" + (
                "s" if self.days >= 2 * 365.25 else ""
            )
        if self.days > 0:
            return f"from {day(self.row.day)}, in {self.days} day{'s'[: self.days != 1]}"
        return f"since {day(self.row.day)}"

    @property
    def moved(self) -> bool:
        """The file says something else now than what was read."""
        return self.check is not None and self.check.row != asdict(self.row)

    @property
    def open(self) -> bool:
        """Nobody has compared it, as it stands now, with the text."""
        return self.check is None or self.moved


@cache
def _file() -> tuple[dict[str, str], tuple[LawDate, ...], str]:
    told = json.loads(FILE.read_text(encoding="utf-8"))
    rows = tuple(LawDate(**{**row, "on": row["on"] or ""}) for row in told["rows"])
    return told["places"], rows, told["note"]


def places() -> dict[str, str]:
    return _file()[0]


def note_of_file() -> str:
    return _file()[2]


def row_of(code: str) -> LawDate:
    found = next((row for row in _file()[1] if row.code == code), None)
    if found is None:
        raise NotFound("date of the law", code)
    return found


def dates_at(actor: Actor, site: Site, today: date) -> list[DateAtSite]:
    """What is to come first, the nearest of it at the top; then what holds, and what has no day."""
    latest: dict[str, PfasDateCheck] = {}
    for check in PfasDateCheck.objects.visible_to(actor).filter(site=site).order_by("pk"):
        latest[check.code] = check
    found = [
        DateAtSite(
            row,
            places()[row.place],
            (row.day - today).days if row.day else None,
            latest.get(row.code),
        )
        for row in _file()[1]
        if row.place in site.pfas_places
    ]
    return sorted(found, key=_order)


def _order(one: DateAtSite) -> tuple[int, int]:
    if one.days is None:
        return 2, 0
    return (0, one.days) if one.days > 0 else (1, -one.days)


def set_places(*, actor: Actor, site: Site, chosen: Sequence[str]) -> Site:
    """Refused unknown_place."""
    require_own(actor, site, "say whose law on PFAS holds at a site")
    unknown = sorted(set(chosen) - set(places()))
    if unknown:
        raise Refused("unknown_place", f"“{unknown[0]}” is none of the places listed.", "places")
    return keep(site, {"pfas_places": [one for one in places() if one in chosen]}, by=actor)


def may_check(actor: Actor, site: Site) -> bool:
    """The owner, whose duty it is, and an authority of the site."""
    if actor.organisation_id is None or site.retired_on is not None:
        return False
    over = SiteAuthority.objects.today(actor).filter(site=site)
    return (
        actor.organisation_id == site.owner_id
        or over.filter(organisation=actor.organisation_id).exists()
    )


def note_check(*, actor: Actor, site: Site, code: str, today: date, **values: Any) -> PfasDateCheck:
    """`values`: found, checked_against, remark. Raises Forbidden, NotFound; refused not_valid."""
    if not may_check(actor, site):
        raise Forbidden("Only the owner or an authority of the site can say how law holds here.")
    row = row_of(code)
    if row.place not in site.pfas_places:
        raise NotFound("date of the law", code)
    check = PfasDateCheck(
        site=site, organisation=actor.organisation, code=code, row=asdict(row),
        checked_on=today, person=actor.person,
    )  # fmt: skip
    return keep(check, values, by=actor, verb="noted")
