"""A notice clock that has run out and that nobody has answered sounds once."""

from datetime import datetime

from django.db import IntegrityError, transaction

from itm.accounts.actor import system
from itm.core import outbox
from itm.findings import clocks
from itm.findings.clocks import Running
from itm.findings.lives import say
from itm.findings.models import ClockAdoption, Impairment, Step
from itm.findings.wording import unanswered

AT_A_TIME = 200


def sound(now: datetime) -> None:
    """One line in the life of the impairment, which the news tell, and a promised mail.

    May run at any time, twice and beside itself: the line is unique in the database, and the mail
    is promised in its transaction.
    """
    rows = Impairment.objects.filter(ended_at=None, taken_back_at=None).order_by("pk")
    held = list(rows.filter(site__in=ClockAdoption.objects.filter(ended_on=None).values("site")))
    for start in range(0, len(held), AT_A_TIME):
        some = held[start : start + AT_A_TIME]
        sounded = set(
            Step.objects.filter(impairment__in=some, verb=Step.Verb.ALARM).values_list(
                "impairment", "clock"
            )
        )
        for pk, running in clocks.running(some, now).items():
            row = next(one for one in some if one.pk == pk)
            for one in running:
                if one.sounds and (pk, one.clock.pk) not in sounded:
                    _sound(row, one, now)


def _sound(row: Impairment, one: Running, now: datetime) -> None:
    words = f"{one.clock.tell}, {one.clock.when}: {unanswered(one.clock)}."
    try:
        with transaction.atomic():
            step = say(
                system(now.date(), via="sweep"), row, Step.Verb.ALARM, now, words, clock=one.clock
            )
            outbox.add("send_alarm", once=f"alarm {step.key}", step_key=str(step.key))
    except IntegrityError:
        return  # another clock was a moment faster
