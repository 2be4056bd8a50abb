"""What the database itself refuses of a tank's book and of a site's clock, past any CHECK.

A movement is written while the book of its tank is open, and an open book cannot be committed:
`Tank.writing` then points to no tank, which both databases look at when the transaction ends. The
book closes only where each line begins with what the one before it left and no tank is over its
capacity. A row by itself is judged by the constraints of its model.
"""

from functools import cache
from hashlib import sha256
from importlib.resources import files

from itm.core.triggers import Rule

NOBODY = -1  # no tank has this number: a book that points here is open
SLACK = 1e-6  # m³, a millilitre: rounding and no concentrate

_OPEN = "(SELECT writing_id FROM registry_tank WHERE id = {row}.tank_id) IS NOT NULL"
_THROUGH = "what a tank holds is written through its book, never past it"

MOVEMENT = {
    # What older papers got wrong stays marked with its excess; nothing new may be.
    "insert": Rule(
        "INSERT", f"NOT ({_OPEN.format(row='NEW')}) OR NEW.excess IS NOT NULL", _THROUGH
    ),
    "update": Rule(
        "UPDATE",
        f"NOT ({_OPEN.format(row='NEW')}) OR NEW.tank_id <> OLD.tank_id "
        f"OR NEW.excess > COALESCE(OLD.excess + {SLACK}, -1)",
        _THROUGH,
    ),
    "delete": Rule("DELETE", f"NOT ({_OPEN.format(row='OLD')})", _THROUGH),
}

TANK = {
    "book": Rule(
        "UPDATE",
        f"""NEW.writing_id IS NULL
  AND (OLD.writing_id IS NOT NULL OR NEW.capacity < OLD.capacity)
  AND EXISTS (
    SELECT 1 FROM (
      SELECT kind, held, "left", excess,
        COALESCE(LAG("left") OVER (ORDER BY moved_on, position, id), 0) AS before
      FROM registry_tankmovement WHERE tank_id = NEW.id AND withdrawn_at IS NULL
    ) AS line
    WHERE held IS NULL OR held <> before
      OR (kind IN ('fill', 'top_up') AND excess IS NULL
        AND "left" > NEW.capacity * (1 + 1e-9) + {SLACK})
  )""",
        "the book of a tank holds together and never more than the tank",
    ),
}


@cache
def known_zones() -> frozenset[str]:
    """The IANA names in the package that the lock pins, the same on every machine."""
    return frozenset(files("tzdata").joinpath("zones").read_text(encoding="utf-8").split())


def _zones() -> dict[str, Rule]:
    """Which zones there are changes with each release of the list, so no migration holds them: the
    guard is laid anew with every migrate. Its name tells of which list it is."""
    names = sorted(known_zones())
    mark = sha256(" ".join(names).encode()).hexdigest()[:8]
    listed = ", ".join(f"'{name}'" for name in names)
    unknown = f"NEW.time_zone NOT IN ({listed})"
    sentence = "this is no time zone of the IANA list"
    return {
        f"zone_new_{mark}": Rule("INSERT", unknown, sentence),
        f"zone_{mark}": Rule("UPDATE", f"NEW.time_zone <> OLD.time_zone AND {unknown}", sentence),
    }


SITE = _zones()
