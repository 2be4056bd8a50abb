"""Something happened at a site, or did not after all, and the tasks that it brings on follow."""

from datetime import date
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.records.duties import derive_site
from itm.registry.models import Site
from itm.schedule import happening as happenings
from itm.schedule.models import Happening
from itm.schedule.services import Effect


@transaction.atomic
def note_happening(*, actor: Actor, site: Site, **values: Any) -> tuple[Happening, Effect]:
    """Raises what `schedule.happening.note` raises."""
    row = happenings.note(actor=actor, site=site, **values)
    return row, derive_site(actor=actor, site=site, why=str(row))


@transaction.atomic
def withdraw_happening(
    *, actor: Actor, happening: Happening, today: date
) -> tuple[Happening, Effect]:
    """Raises what `schedule.happening.withdraw` raises. May run twice."""
    row = happenings.withdraw(actor=actor, happening=happening, today=today)
    return row, derive_site(actor=actor, site=row.site, why=f"withdrawn: {row}")
