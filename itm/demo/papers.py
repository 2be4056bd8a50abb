"""Results of older papers, brought in from a table as an owner would."""

import io
from datetime import timedelta
from typing import Any

from itm.actions.import_history import import_history
from itm.demo.registry import World
from itm.intake import uploads
from itm.intake.looking import look

HEAD = (
    "Site;Proportioner;Flow point;Tested on;Percent;Lower limit;Upper limit;Outcome;Done by;Paper"
)


def bring(world: World, files: list[dict[str, Any]]) -> None:
    for told in files:
        zone = world.sites[told["site"]].time_zone
        at = world.ages.now - timedelta(days=told["brought_days_ago"])
        actor = world.actor(told["owner"], at.date())
        lines = [HEAD]
        for number, (days_ago, point, percent, outcome) in enumerate(told["rows"]):
            day = world.ages.working_day(days_ago, zone)
            lines.append(
                f"{told['site']};{told['proportioner']};{point};{day.isoformat()};{percent};3,0;"
                f"3,9;{outcome};{told['done_by']};sheet {number // 2 + 1}"
            )
        row, repeated = uploads.take_in(
            actor=actor, kind="history", file=io.BytesIO("\n".join(lines).encode()),
            name=told["name"], at=at,
        )  # fmt: skip
        if not repeated:
            look(actor=actor, row=uploads.upload(actor, row.key))
            import_history(actor=actor, key=row.key, at=at)
