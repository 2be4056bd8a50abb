"""Results and checks of past years come in from a file, and what is due counts on from them."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from itm.accounts.actor import Actor
from itm.intake import taking
from itm.intake.models import Upload
from itm.records import past_storing
from itm.records.duties import derive_sites
from itm.registry.models import Site


@transaction.atomic
def import_history(*, actor: Actor, key: UUID, at: datetime) -> Upload:
    """All or nothing. May run twice: taken in once, it is the same import.

    Raises NotFound, Forbidden, Conflict; Refused not_ready, changed.
    """
    row, opened = taking.begin(actor, key)
    if opened is None:
        return row
    past_storing.require_may_bring(actor)
    # Of two files with the same lines the second looks when the first is in.
    here = Site.objects.filter(pk__in=row.findings["sites"]).order_by("pk")
    sites = list(here.select_for_update(no_key=True))
    kind: past_storing.Kind = opened.rows.kind
    blocks = (columns for _, columns in opened.judged())
    bundle, _ = past_storing.store(actor=actor, kind=kind, name=row.name, blocks=blocks, at=at)
    taking.require_right(opened.reader.told)
    derive_sites(actor=actor, sites=sites, why=f"{kind.words} from {row.name}")
    return taking.done(actor=actor, row=row, at=at, bundle=bundle)
