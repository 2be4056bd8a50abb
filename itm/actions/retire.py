"""Out of use and back: nothing is due on what is retired, and the lists know it at once."""

from datetime import date, datetime

from django.db import transaction

from itm.accounts.actor import Actor
from itm.findings import catching_up, overdue
from itm.records.duties import derive_site
from itm.registry import retiring
from itm.registry.queries import site_of
from itm.registry.retiring import Retirable
from itm.schedule.standing import restand_site


@transaction.atomic
def retire(*, actor: Actor, row: Retirable, on: date, today: date) -> Retirable:
    """Raises what `registry.retiring.retire` raises."""
    done = retiring.retire(actor=actor, row=row, on=on, today=today)
    restand(actor, done)
    return done


@transaction.atomic
def take_back(*, actor: Actor, row: Retirable, at: datetime) -> Retirable:
    """What ended because it was out of use is open again. Raises what
    `registry.retiring.take_back` raises. May run twice."""
    back = retiring.out_with(row)
    done = retiring.take_back(actor=actor, row=row)
    restand(actor, done)
    site = site_of(done)
    if site is not None:  # rules may have changed while it was out of use
        derive_site(actor=actor, site=site)
        catching_up.after_taken_back(actor=actor, back=back, at=at)
        overdue.open_now(site=site, at=at)
    return done


def restand(actor: Actor, row: Retirable) -> None:
    site = site_of(row)
    if site is not None:  # an instrument hangs on no site
        restand_site(actor=actor, site=site)
