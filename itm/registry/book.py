"""The book of a tank as the database holds it, and the one rule over the whole of it.

Written between `opened` and `settled`, inside the caller's transaction: the database takes no
movement while the book is closed, and no commit while it is open.
"""

from collections.abc import Sequence

from itm.core.errors import Refused
from itm.registry.contents import MIXED, Line, Problem, ledger
from itm.registry.models import Tank, TankMovement
from itm.registry.models.guards import NOBODY

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


def opened(tank: Tank) -> tuple[Tank, list[Line]]:
    """The tank, locked, and its book as it stands, open for movements."""
    row = Tank.objects.select_for_update().select_related("site").get(pk=tank.pk)
    _point(row, NOBODY)
    return row, lines_of(row)


def settled(tank: Tank, before: Sequence[Line], place: str = "") -> list[Line]:
    """The book with what was written, judged, worked out anew and closed. Refused as
    `refuse_new_problems` does."""
    after = lines_of(tank)
    refuse_new_problems(before, after, place)
    moved = []
    for line in after:
        row, worked_out = line.movement, (line.held.volume, line.holds.volume, _excess(line))
        if (row.held, row.left, row.excess) != worked_out:
            row.held, row.left, row.excess = worked_out
            moved.append(row)
    # Past the history, on purpose: it says nothing that the movements do not.
    columns = ["held", "left", "excess"]
    TankMovement._base_manager.bulk_update(moved, columns, batch_size=500)
    _point(tank, None)
    return after


def _point(tank: Tank, where: int | None) -> None:
    Tank._base_manager.filter(pk=tank.pk).update(writing=where)


def _excess(line: Line) -> float | None:
    """A mixture is no matter of volumes."""
    return max((p.excess for p in line.problems if p.code != MIXED), default=None)
