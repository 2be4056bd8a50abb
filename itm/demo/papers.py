"""Results and checks of older papers, brought in from a table as an owner would."""

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
CHECKS_HEAD = (
    "Site;Tank;Sampled on;Sample point;Property;Value;Unit;Temperature;Lower limit;Upper limit;"
    "Outcome;Laboratory;Report number"
)


def bring(world: World, files: list[dict[str, Any]]) -> None:
    for told in files:
        zone = world.sites[told["site"]].time_zone
        at = world.ages.now - timedelta(days=told["brought_days_ago"])
        actor = world.actor(told["owner"], at.date())
        days = [world.ages.working_day(row[0], zone).isoformat() for row in told["rows"]]
        kind = "history" if "proportioner" in told else "past_checks"
        lines = results(told, days) if kind == "history" else checks(told, days)
        row, repeated = uploads.take_in(
            actor=actor, kind=kind, file=io.BytesIO("\n".join(lines).encode()),
            name=told["name"], at=at,
        )  # fmt: skip
        if not repeated:
            look(actor=actor, row=uploads.upload(actor, row.key))
            import_history(actor=actor, key=row.key, at=at)


def results(told: dict[str, Any], days: list[str]) -> list[str]:
    return [HEAD] + [
        f"{told['site']};{told['proportioner']};{point};{day};{percent};3,0;3,9;{outcome};"
        f"{told['done_by']};sheet {number // 2 + 1}"
        for number, (day, (_, point, percent, outcome)) in enumerate(
            zip(days, told["rows"], strict=True)
        )
    ]


def checks(told: dict[str, Any], days: list[str]) -> list[str]:
    return [CHECKS_HEAD] + [
        f"{told['site']};{told['tank']};{day};{';'.join(cells)};{told['laboratory']};{paper}"
        for day, (_, paper, *cells) in zip(days, told["rows"], strict=True)
    ]
