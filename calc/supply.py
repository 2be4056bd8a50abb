"""How long the concentrate lasts at the measured percentage."""


def minutes_of_supply(contents: float, solution_flow: float, percent: float) -> float:
    """Minutes of discharge that the concentrate lasts.

    Parameters
    ----------
    contents : m³ of concentrate that the suction inlet can reach, > 0.
    solution_flow : m³/s of solution, > 0.
    percent : % by volume of concentrate in the solution, > 0.

    Returns
    -------
    minutes. A rich proportioner empties the tank early, also one that is inside its band.

    Raises: ValueError when an argument is not above 0.
    Notes: t = V / (Q · p/100), volumes taken as additive, one flow at a time.
    Source: definition of percent by volume (MIL-F-24385F 1.2: parts of solution, not of water).
    Check: arithmetic: 300 L at 1000 L/min and 3.0 % last 10 min, at 3.9 % 7.69 min.
    """
    if not (contents > 0 and solution_flow > 0 and percent > 0):
        raise ValueError("contents, solution flow and percent must each be above 0")
    return contents / (solution_flow * percent / 100) / 60
