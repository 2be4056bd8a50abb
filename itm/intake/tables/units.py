"""Units as people write them, brought to the one spelling that the product uses."""

import re

# Common spellings, from memory; “gpm” and “gal” alone are two units and stay unknown.
SPELLINGS: dict[str, str] = {}
for _unit, _others in {
    "L/min": "l/min lpm l/m litre/min litres/min liter/min liters/min l/minute ltr/min",
    "L/s": "l/s lps litre/s litres/s liter/s",
    "m³/h": "m³/h m3/h cbm/h m^3/h m³/hr m3/hr",
    "US gpm": "us gpm|usgpm|us gal/min|gpm (us)",
    "imp gpm": "imp gpm|imperial gpm|ukgpm|uk gpm|imp gal/min",
    "L": "l litre litres liter liters ltr",
    "m³": "m³ m3 cbm m^3",
    "g": "g gram grams",
    "mL": "ml millilitre millilitres milliliter",
    "US gal": "us gal|usgal|us gallon|us gallons",
    "imp gal": "imp gal|imperial gallon|imperial gallons|uk gal",
    "%": "% percent pct %vol vol% v/v",
    "°C": "°c degc celsius ℃ c",
    "°F": "°f degf fahrenheit ℉ f",
    "µS/cm": "µs/cm μs/cm us/cm",
    "mS/cm": "ms/cm",
    "% Brix": "% brix|%brix|brix|°bx|bx|°brix",
    "S/m": "s/m siemens/m",
    "min": "min minutes minute",
    "s": "s sec secs second seconds",
    "nD": "nd|nd20|nd 20",
    "kg/m³": "kg/m³ kg/m3 kg/m^3 kg/cbm",
    "g/mL": "g/ml g/cm³ g/cm3 g/cm^3 g/cc",
    "kg/L": "kg/l",
    "lb/ft³": "lb/ft³ lb/ft3 lbs/ft3 pcf",
    "lb/US gal": "lb/us gal|lb/usgal|lbs/us gal",
    "mm²/s": "mm²/s mm2/s mm^2/s",
    "cSt": "cst centistokes centistoke",
    "mPa·s": "mpa·s mpa.s mpa*s mpas mpa-s",
    "cP": "cp cps centipoise",
    "Pa·s": "pa·s pa.s pa*s pas pa-s",
    "mN/m": "mn/m",
    "dyn/cm": "dyn/cm dyne/cm dynes/cm",
}.items():
    for _one in _others.split("|" if "|" in _others else None):
        SPELLINGS[_one.replace(" ", "")] = _unit

# “Density at 20 °C (g/mL)”: at which temperature it was read is not in which unit.
AT_TEMPERATURE = re.compile(
    r"[\s,]*[(\[]?\s*(?:\bat|@)?\s*\d[\d.,]*\s*°\s?C\b\s*[)\]]?", re.IGNORECASE
)
# Words that end names of columns as often as they are units.
NAMES_TOO = ("c", "f", "l", "min", "m", "s", "-", "percent")
IN_BRACKETS = re.compile(r"^(?P<name>.*?)\s*[\(\[](?P<unit>[^()\[\]]+)[\)\]]\s*$")


def unit_of(text: str) -> str:
    """The unit that is meant, or nothing."""
    bare = text.strip().replace(" ", "").replace("\u00a0", "")
    folded = bare.casefold().replace("μ", "µ")
    # mS and µS differ by their first letter alone, and “MS” is neither.
    return SPELLINGS.get(folded, "")


def apart(head: str) -> tuple[str, str]:
    """“Flow (L/min)”, “Flow [L/min]”, “Flow in L/min”, “Flow L/min”, “flow_l_min” → name, unit."""
    head = AT_TEMPERATURE.sub(" ", head).strip() or head
    found = IN_BRACKETS.match(head)
    if found and unit_of(found["unit"]):
        return found["name"], unit_of(found["unit"])
    words = head.replace("_", " ").split()
    for count in (2, 1):
        if len(words) <= count:
            continue
        last = words[-count:]
        if unit := unit_of(" ".join(last)) or (unit_of("/".join(last)) if "_" in head else ""):
            if count == 1 and last[0].casefold() in NAMES_TOO:
                continue  # “Flow min” and “Foam C” are names
            name = words[:-count]
            return " ".join(name[:-1] if name[-1].casefold() in ("in", ",") else name), unit
    return head, ""
