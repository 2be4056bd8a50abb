"""Lines of an iCalendar object: escaped, folded and ended as RFC 5545 says.

Our own because a calendar of five thousand events is asked for every few hours by many programs:
the general library takes several times as long to write it. The tests read with that library.
"""

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime

# Some readers take the Unicode separators and the old control characters for ends of lines too.
BREAKS = re.compile("\r\n|[\r\x0b\x0c\x1c-\x1e\x85\u2028\u2029]")
CONTROL = re.compile("[\x00-\x08\x0e-\x1f\x7f]")
LONGEST = 75  # octets of a line without its end, RFC 5545 3.1


def text(value: str) -> str:
    """RFC 5545 3.3.11. Control characters have no place in a text and are left out."""
    value = BREAKS.sub("\n", value).replace("\\", "\\\\")
    value = value.replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")
    return CONTROL.sub("", value)


def day(value: date) -> str:
    return f"{value:%Y%m%d}"


def instant(value: datetime) -> str:
    return f"{value.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def folded(line: str) -> bytes:
    """A long line goes on after a line end and a space; no character is cut in two."""
    left = line.encode()
    if len(left) <= LONGEST:
        return left
    out = []
    room = LONGEST
    while len(left) > room:
        cut = room
        while left[cut] & 0xC0 == 0x80:  # inside a character of several octets
            cut -= 1
        out.append(left[:cut])
        left, room = left[cut:], LONGEST - 1
    return b"\r\n ".join([*out, left])


def written(lines: Iterable[str]) -> bytes:
    return b"".join(folded(line) + b"\r\n" for line in lines)
