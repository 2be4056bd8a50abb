"""Exact factors from the units people read off a gauge to coherent SI.

Source: NIST SP 811 (2008), Appendix B.8; the gallon, inch and pound are exact by definition.
Check: fixtures/reference/check-values.json, case E-05.
"""

US_GALLON = 3.785411784e-3  # m³, exact: 231 in³
IMPERIAL_GALLON = 4.54609e-3  # m³, exact
INCH = 0.0254  # m, exact
POUND = 0.45359237  # kg, exact: the avoirdupois pound
PSI = 6894.757293168361  # Pa, lbf/in² from exact pound, standard gravity and inch

FLOW = {  # → m³/s
    "L/min": 1e-3 / 60,
    "L/s": 1e-3,
    "m³/h": 1 / 3600,
    "US gpm": US_GALLON / 60,
    "imp gpm": IMPERIAL_GALLON / 60,
}
LENGTH = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": INCH}  # → m
PRESSURE = {"bar": 1e5, "kPa": 1e3, "MPa": 1e6, "psi": PSI}  # → Pa
VOLUME = {  # → m³
    "L": 1e-3,
    "m³": 1.0,
    "mL": 1e-6,
    "US gal": US_GALLON,
    "imp gal": IMPERIAL_GALLON,
}
MASS = {"kg": 1.0, "g": 1e-3, "lb": POUND}  # → kg
CONDUCTIVITY = {"µS/cm": 1e-4, "mS/cm": 0.1, "S/m": 1.0}  # → S/m
