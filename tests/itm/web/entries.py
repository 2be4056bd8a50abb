"""What a person types into the forms of systems and proportioners."""

from itm.registry.models import Tank

SYSTEM = {
    "name": "Rack foam",
    "kind": "deluge",
    "hazard": "Loading rack",
    "fuel": "polar",
    "minimum_flow": "420",
    "minimum_flow_unit": "L/min",
    "design_flow": "2 100",
    "design_flow_unit": "L/min",
    "required_minutes": "10,5",
    "criterion": "common",
    "custom_lower": "",
    "custom_upper": "",
    "criterion_source": "",
    "commissioned_on": "2020-04-30",
}


def points(*rows: dict[str, str], initial: int = 2) -> dict[str, str]:
    data = {"points-TOTAL_FORMS": str(len(rows)), "points-INITIAL_FORMS": str(initial)}
    for number, row in enumerate(rows):
        data |= {f"points-{number}-{name}": value for name, value in row.items()}
    return data


def point(name: str, flow: str, unit: str = "L/min", **more: str) -> dict[str, str]:
    return {"name": name, "flow": flow, "flow_unit": unit, **more}


def device(tank: Tank, *rows: dict[str, str], **changed: str) -> dict[str, str]:
    return {
        "tag": "PR-9",
        "kind": "in_line_balanced",
        "tank": str(tank.pk),
        "nominal_percent": "3",
        "lowest_listed_flow": "",
        "lowest_listed_flow_unit": "L/min",
        "highest_listed_flow": "2500",
        "highest_listed_flow_unit": "L/min",
        "flush_order": "",
        "restoration_order": "",
        **points(*(rows or (point("minimum", "420"), point("design", "2100")))),
        **changed,
    }
