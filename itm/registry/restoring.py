"""What has to be put back after a test, and in which order the run is stopped.

Common practice, no published source; the maker's manual for the system comes first, so both lists
are only what a proportioner has while nobody wrote one for it. The valves come from the register,
each by its tag with the position that is normal for it.
"""

from collections.abc import Sequence

from itm.registry.models import Equipment

FLUSH_ORDER = [
    "Last sample of the run is taken",
    "Person at the tank has been told and has shut the concentrate isolation valve",
    "Water ran on until it came out clear",
    "Water is shut",
    "Sensing line of the automatic concentrate valve is relieved and the valve is reset",
    "Concentrate isolation valve is open again",
]

_TANK_SIDE = {
    "bladder": [
        "Water inlet valve to the tank open",
        "Tank vent and fill valves shut",
        "Shell filled with water and vented",
    ],
    "pressure_no_bladder": [
        "Water inlet valve to the tank open",
        "Tank vent and fill valves shut",
    ],
    "atmospheric": ["Tank vent free, fill opening closed"],
}

_DEVICE_SIDE = {
    "balanced_pressure": [
        "Concentrate pump suction and discharge open",
        "Bypass of the balancing valve shut, sensing lines open",
        "Pump controller on automatic",
    ],
    "in_line_balanced": [
        "Concentrate pump suction and discharge open",
        "Bypass of the balancing valve shut, sensing lines open",
        "Pump controller on automatic",
    ],
    "positive_displacement": [
        "Three-way valve set from return to feed",
        "Pump controller on automatic",
    ],
    "water_motor": ["Three-way valve set from return to feed"],
    "line_eductor": ["Metering valve at its mark, pick-up tube in place"],
    "around_the_pump": ["Metering valve at its mark"],
    "electronic": ["Controller on automatic, percent set as listed"],
}


# Lines that the register says better, valve by valve, once it has any.
_SAID_BY_VALVES = {
    "Concentrate tank outlet valve open",
    "Water inlet valve to the tank open",
    "Tank vent and fill valves shut",
    "Concentrate pump suction and discharge open",
    "Main and section control valves open, locked or supervised",
}
# A register may be incomplete, and a valve left shut kills people.
_OTHER_VALVES = "Every other valve that was moved, one without a tag too, in its normal position"

_HELD = {"sealed": ", sealed", "locked": ", locked", "supervised": ", supervised"}
LONGEST = 200  # characters of a line


def valve_line(valve: Equipment) -> str:
    """For example “CV-101 Concentrate outlet valve: open, locked”; a name too long falls out."""
    stands = f": {valve.position}{_HELD.get(valve.variety, '')}"
    line = f"{valve.tag} {valve.name}".strip() + stands
    return line if len(line) <= LONGEST else valve.tag + stands


def restoration_order(
    tank_kind: str, proportioner_kind: str, valves: Sequence[Equipment] = ()
) -> list[str]:
    """Lines of a proportioner that has none of its own, in the order of the walk back."""
    common = [
        "Concentrate tank outlet valve open",
        *_TANK_SIDE.get(tank_kind, []),
        *_DEVICE_SIDE.get(proportioner_kind, []),
        "Strainers opened, cleaned and closed",
        "Test header valves shut and capped",
        "Main and section control valves open, locked or supervised",
        "Drains shut, automatic drains free",
        "Release panel out of test, manual release reset and sealed",
        "Tank refilled, lot and volume noted",
        "Monitoring company and fire service told that the system is back",
    ]
    if not valves:
        return common
    rest = [line for line in common if line not in _SAID_BY_VALVES]
    return [*map(valve_line, valves), _OTHER_VALVES, *rest]


def untouched(lines: list[str], valves: Sequence[Sequence[Equipment]] = ()) -> bool:
    """Whether these are lines as offered for some kind, with these sets of valves or none."""
    return any(
        lines == restoration_order(tank, device, those)
        for tank in ("", *_TANK_SIDE)
        for device in ("", *_DEVICE_SIDE)
        for those in ((), *valves)
    )
