"""What has to be put back after a test, and in which order the run is stopped.

Common practice, no published source; the maker's manual for the system comes first, so both lists
are only what a new proportioner starts with.
"""

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


def restoration_order(tank_kind: str, proportioner_kind: str) -> list[str]:
    """Lines a new proportioner starts with, in the order of the walk back."""
    return [
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


def untouched(lines: list[str]) -> bool:
    """Whether these are lines that a new proportioner of some kind starts with."""
    tanks, devices = ["", *_TANK_SIDE], ["", *_DEVICE_SIDE]
    return any(lines == restoration_order(tank, device) for tank in tanks for device in devices)
