"""The authority's decision rule: how sure a statement must be to count as settled."""

from decimal import Decimal

from django.db import transaction

from itm.accounts.actor import Actor, require_kind, require_lead
from itm.accounts.models import Organisation
from itm.registry.services import keep

WHAT = "set the decision rule of a jurisdiction"


def require_decider(actor: Actor) -> None:
    require_kind(actor, "authority", what=WHAT)
    require_lead(actor, what=WHAT)


@transaction.atomic
def set_decision_rule(
    *, actor: Actor, verdict_probability: Decimal | None, lean_probability: Decimal | None
) -> Organisation:
    """For tests prepared from now on: each keeps the rule it was prepared under.

    Raises Forbidden; Refused not_valid.
    """
    require_decider(actor)
    row = Organisation.objects.select_for_update().get(pk=actor.organisation_id or 0)
    values = {"verdict_probability": verdict_probability, "lean_probability": lean_probability}
    figures = {name: None if value is None else float(value) for name, value in values.items()}
    return keep(row, figures, by=actor, verb="set decision rule")
