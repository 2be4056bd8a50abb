"""Works out what the book of each tank says before and after every movement.

Older papers that were wrong stay as they are, marked with their excess. May run twice.
"""

from itertools import groupby
from typing import Any

from django.db import migrations

DUST = 1e-9  # share of the capacity that is no concentrate


def work_out(apps: Any, schema_editor: Any) -> None:
    movement = apps.get_model("registry", "TankMovement")
    rows = movement.objects.filter(withdrawn_at=None).select_related("tank")
    found = []
    ordered = rows.order_by("tank_id", "moved_on", "position", "pk")
    for _, book in groupby(ordered, key=lambda row: row.tank_id):
        held = 0.0
        for row in book:
            row.held, row.excess = held, None
            row.left = held = _after(row, held)
            found.append(row)
    movement.objects.bulk_update(found, ["held", "left", "excess"], batch_size=500)


def _after(row: Any, held: float) -> float:
    """What is left, and into `excess` by how much that cannot have been."""
    dust, volume = DUST * row.tank.capacity, row.volume or 0.0
    if row.kind == "drain":
        return 0.0
    if row.kind == "draw_off":
        if volume - held > dust:
            row.excess = volume - held
        return held - volume if held - volume > dust else 0.0
    if row.kind == "fill" and held > 0:
        row.excess = 0.0
    if held + volume - row.tank.capacity > dust:
        row.excess = held + volume - row.tank.capacity
    return held + volume


class Migration(migrations.Migration):
    dependencies = [("registry", "0022_books_of_tanks")]
    operations = [migrations.RunPython(work_out, migrations.RunPython.noop)]
