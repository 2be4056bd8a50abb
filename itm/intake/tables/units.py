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
    "mL": "ml millilitre millilitres milliliter",
    "US gal": "us gal|usgal|us gallon|us gallons",
    "imp gal": "imp gal|imperial gallon|imperial gallons|uk gal",
    "%": "% percent pct %vol vol% v/v",
    "°C": "°c degc celsius ℃ c",
    "°F": "°f degf fahrenheit ℉ f",
    "µS/cm": "µs/cm μs/cm us/cm",
    "mS/cm": "ms/cm",
    "% Brix": "% brix|%brix|brix|°bx|bx|°brix",
    "min": "min minutes minute",
    "nD": "nd|nd20|nd 20|-",
    "kg/m³": "kg/m³ kg/m3",
}.items():
    for _one in _others.split("|" if "|" in _others else None):
        SPELLINGS[_one.replace(" ", "")] = _unit

IN_BRACKETS = re.compile(r"^(?P<name>.*?)\s*[\(\[](?P<unit>[^()\[\]]+)[\)\]]\s*$")


def unit_of(text: str) -> str:
    """The unit that is meant, or nothing."""
    bare = text.strip().replace(" ", "").replace("\u00a0", "")
    folded = bare.casefold().replace("μ", "µ")
    # mS and µS differ by their first letter alone, and “MS” is neither.
    return SPELLINGS.get(folded, "")


def apart(head: str) -> tuple[str, str]:
    """“Flow (L/min)”, “Flow [L/min]”, “Flow in L/min” and “Flow L/min” → name and unit."""
    found = IN_BRACKETS.match(head)
    if found and unit_of(found["unit"]):
        return found["name"], unit_of(found["unit"])
    words = head.replace("_", " ").split()
    for count in (2, 1):
        if len(words) > count and (unit := unit_of(" ".join(words[-count:]))):
            if count == 1 and words[-1].casefold() in ("c", "f", "l", "min", "m", "-", "percent"):
                continue  # “Flow min” and “Foam C” are names
            name = words[:-count]
            return " ".join(name[:-1] if name[-1].casefold() in ("in", ",") else name), unit
    return head, ""
