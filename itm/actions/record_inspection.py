"""A round of inspection is recorded, and the duties that it completes move."""

from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.records import inspecting
from itm.records.duties import derive_site
from itm.records.models import Inspection, InspectionLine
from itm.registry.models import Site


@transaction.atomic
def record_inspection(*, actor: Actor, site: Site, **values: Any) -> Inspection:
    """Raises what `records.inspecting.record` raises. May run twice."""
    made = inspecting.record(actor=actor, site=site, **values)
    derive_site(actor=actor, site=site)
    return made


@transaction.atomic
def correct_inspection(*, actor: Actor, line: InspectionLine, **values: Any) -> Inspection:
    """Raises what `records.inspecting.correct` raises. May run twice."""
    made = inspecting.correct(actor=actor, line=line, **values)
    derive_site(actor=actor, site=made.site)
    return made
