"""The book of a tank as the database holds it, and the one rule over the whole of it."""

from collections.abc import Sequence

from itm.core.errors import Refused
from itm.registry.contents import Line, Problem, ledger
from itm.registry.models import Tank

DUST = 1e-9  # m³; two excesses nearer than this are one


def lines_of(tank: Tank) -> list[Line]:
    """Who reads the tank reads its book."""
    return ledger(tank, tank.movements.in_force().select_related("lot"))


def problems_of(lines: Sequence[Line]) -> dict[tuple[int | None, str], Problem]:
    return {
        (problem.movement.pk, problem.code): problem for line in lines for problem in line.problems
    }


def refuse_new_problems(before: Sequence[Line], after: Sequence[Line], place: str = "") -> None:
    """No change may make a day impossible, nor one that is worse than it was.

    What was wrong already is no hindrance: it came from older papers, and the way to mend it is a
    movement. Refused overlap, over_capacity, more_than_there, mixed.
    """
    known = problems_of(before)
    for key, problem in problems_of(after).items():
        if key not in known or problem.excess > known[key].excess + DUST:
            raise Refused(problem.code, problem.sentence, place)
