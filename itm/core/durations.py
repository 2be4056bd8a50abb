"""Lengths of time as people type them: minutes and seconds, said back in words.

2.30 is two minutes and a half minute less to one reader, two minutes thirty to another, so a
number with a point and no unit is asked and not guessed.
"""

import re
from typing import Any

from django import forms

from itm.core.errors import Refused
from itm.core.quantities import Quantity, parse_decimal

CLOCK = re.compile(r"(?:(\d{1,2}):)?(\d{1,3}):(\d{2})")
SECONDS = re.compile(r"(.+?)\s*s")
LONGEST = 24 * 3600.0  # own choice: a run of a test ends on its day


def duration(text: str, *, place: str = "") -> Quantity:
    """Seconds of “2:30”, “1:02:30” or “150 s”. Raises Refused not_a_duration."""
    bare = text.strip()
    seconds = _clock(bare)
    if seconds is None and (found := SECONDS.fullmatch(bare)):
        seconds = float(parse_decimal(found[1], place=place, what="The time"))
    if seconds is None or not 0 < seconds <= LONGEST:
        raise Refused(
            "not_a_duration",
            f"“{bare[:20]}” is no length of time here: write minutes and seconds as 2:30, or "
            "seconds as 150 s. A plain 2.30 could be either.",
            place,
        )
    return Quantity(seconds, bare)


def _clock(text: str) -> float | None:
    found = CLOCK.fullmatch(text)
    if found is None:
        return None
    hours, minutes, seconds = (int(part or 0) for part in found.groups())
    if seconds > 59 or (found[1] is not None and minutes > 59):
        return None
    return 3600.0 * hours + 60.0 * minutes + seconds


def in_words(seconds: float) -> str:
    """“2 minutes 30 seconds”; tenths only where there are any."""
    whole = round(seconds, 1)
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(int(minutes), 60)
    parts = [(hours, "hour"), (minutes, "minute"), (rest, "second")]
    told = [f"{n:.10g} {name}{'' if n == 1 else 's'}" for n, name in parts if n]
    return " ".join(told) or "0 seconds"


class DurationField(forms.CharField):
    """Cleans to a `Quantity` in seconds, or None when it may be empty and is."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 20)
        super().__init__(**kwargs)
        self.widget.attrs |= {"autocomplete": "off"}

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            return duration(text)
        except Refused as refusal:
            raise forms.ValidationError(refusal.sentence, code=refusal.code) from refusal
