"""Sites, systems, tanks, proportioners, equipment, lots or instruments come in from a file."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core import history
from itm.intake import registry_rows, taking
from itm.intake.models import Upload
from itm.records.duties import derive_sites
from itm.registry.models import Site


@transaction.atomic
def import_registry(*, actor: Actor, key: UUID, at: datetime) -> Upload:
    """All or nothing, by the services of their pages. May run twice.

    Raises NotFound, Forbidden, Conflict; Refused not_ready, changed.
    """
    row, opened = taking.begin(actor, key)
    if opened is None:
        return row
    registry_rows.require_may_bring(actor, row.kind)
    with history.because(f"import of {row.name}"):
        made = [str(thing.key) for _, things in opened.judged() for thing in things]
    taking.require_right(opened.reader.told)
    sites = Site.objects.filter(pk__in=opened.rows.sites)
    derive_sites(actor=actor, sites=sites, why=f"from {row.name}")
    return taking.done(actor=actor, row=row, at=at, made=made)
