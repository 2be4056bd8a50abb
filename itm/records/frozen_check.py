"""What a concentrate check is held against, frozen by value when it is begun."""

import re
from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from calc.properties import Programme, shipped_programmes
from itm.records.facts import written
from itm.registry.certifying import ranges_of
from itm.registry.contents import contents
from itm.registry.models import ConcentrateLot, LotRange, Tank
from itm.registry.properties import PROPERTIES

LOT = "lot"


def programmes() -> list[tuple[str, str]]:
    """Limits that can be chosen: code, and title with edition."""
    return [(one.code, f"{one.title} ({one.edition})") for one in shipped_programmes().values()]


def basis_of(tank: Tank, on: date) -> dict[str, Any]:
    """What ought to stand in the tank by its book, with the certificates of the lots."""
    held = contents(tank, tank.movements.in_force().select_related("lot"), on)
    return {
        "on": on.isoformat(),
        "lots": [
            {
                "key": str(part.lot.key),
                "lot": str(part.lot),
                "volume_l": f"{1000 * part.volume:.6g}",
                "share_percent": f"{100 * part.share:.1f}",
                **{
                    name: written(getattr(part.lot, name))
                    for name in ("refractive_index", "density", "ph")
                },
            }
            for part in held.parts
        ],
        "remarks": held.remarks,
    }


def criteria_of(tank: Tank, on: date, codes: Iterable[str]) -> list[dict[str, Any]]:
    """The certificate's ranges first, then those of the programmes chosen. Raises KeyError."""
    held = contents(tank, tank.movements.in_force().select_related("lot"), on)
    known = shipped_programmes()
    out = _of_lots([part.lot for part in held.parts])
    for code in codes:
        out += _of_programme(known[code])
    return out


def _of_lots(lots: Sequence[ConcentrateLot]) -> list[dict[str, Any]]:
    """Of one lot its ranges; of several what all of them allow alike, because a certificate says
    nothing of a mixture."""
    every = [{row.name: row for row in ranges_of(lot)} for lot in lots]
    out = []
    for name in PROPERTIES:
        rows = [ranges[name] for ranges in every if name in ranges]
        if not rows or len(rows) < len(every) or len({_ends(row) for row in rows}) > 1:
            continue
        titles = " and ".join(str(lot) for lot in lots)
        condition = f", {rows[0].condition}" if rows[0].condition else ""
        out.append(
            _limit(
                name, *_written_ends(rows[0]), of=LOT, title=f"certificate of {titles}", edition="",
                source=f"certificate of the lot{condition}", confidence="as given",
            )
        )  # fmt: skip
    return out


def _written_ends(row: LotRange) -> tuple[Decimal | None, Decimal | None]:
    """With the digits of the certificate, where it speaks in the engine's unit."""
    unit = PROPERTIES[row.name].unit
    out = []
    for value, typed in ((row.lowest, row.lowest_typed), (row.highest, row.highest_typed)):
        number = typed.removesuffix(unit).strip().replace(",", ".") if typed else ""
        same = value is not None and re.fullmatch(r"-?[0-9.]+", number) is not None
        out.append(Decimal(number) if same and Decimal(number) == value else value)
    return out[0], out[1]


def _ends(row: LotRange) -> tuple[Decimal | None, Decimal | None]:
    return row.lowest, row.highest


def _of_programme(rule: Programme) -> list[dict[str, Any]]:
    return [
        _limit(
            one.name, one.lowest, one.highest, of=rule.code, title=rule.title,
            edition=rule.edition, source=one.source, confidence=one.confidence,
        )
        for one in rule.limits.values()
    ]  # fmt: skip


def _limit(
    name: str, lowest: Decimal | None, highest: Decimal | None, **said: str
) -> dict[str, Any]:
    return {"property": name, "lowest": _end(lowest), "highest": _end(highest), **said}


def _end(end: Decimal | None) -> str | None:
    """As written, with the zeros that a source writes; a column's own were never written."""
    if end is None:
        return None
    exponent = end.as_tuple().exponent
    if isinstance(exponent, int) and exponent < -6:
        return written(end)
    return f"{end:f}"
