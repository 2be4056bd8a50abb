"""What a row of a programme wants recorded, against what a person entered. Pure.

Nothing is judged that the row gives no ground for: a "no" and a number beyond the row's limits make
a fault, a text or a choice never does.
"""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from itm.core.errors import Refused
from itm.core.quantities import parse_decimal, require_one_way

Want = Mapping[str, Any]
Answer = dict[str, Any]
YES, NO = "yes", "no"
LONGEST = 300


def untouched(entered: Mapping[str, str]) -> bool:
    return not any(value.strip() for value in entered.values())


def answers(wants: Sequence[Want], entered: Mapping[str, str]) -> list[Answer]:
    """Each want with what was typed, its value and whether it is in order.

    Raises Refused missing, not_a_number, not_a_choice, too_long with the key of the want as place.
    """
    return [
        answer(want, entered.get(want["key"], "").strip())
        for want in wants
        if entered.get(want["key"], "").strip() or not want.get("optional")
    ]


def answer(want: Want, typed: str) -> Answer:
    key, label = want["key"], want["label"]
    if not typed:
        raise Refused(
            "missing", f"“{label}” is not answered. Leave a task empty as a whole or fill it.", key
        )
    if len(typed) > LONGEST:
        raise Refused("too_long", f"“{label}”: {LONGEST} characters are the most.", key)
    out = {
        "key": key,
        "label": label,
        "kind": want["kind"],
        "unit": want.get("unit", ""),
        "typed": typed,
    }
    if want["kind"] == "number":
        require_one_way(typed, place=key)
        value = parse_decimal(typed, place=key, what=f"“{label}”")
        return {**out, "value": str(value), "in_order": within(want, value)}
    if want["kind"] == "yes_no":
        if typed not in (YES, NO):
            raise Refused("not_a_choice", f"“{label}” is answered by yes or no.", key)
        return {**out, "in_order": typed == YES}
    if want["kind"] == "choice" and typed not in want["choices"]:
        raise Refused("not_a_choice", f"“{label}” is one of {', '.join(want['choices'])}.", key)
    return {**out, "in_order": True}


def within(want: Want, value: Decimal) -> bool:
    lower, upper = want.get("lower"), want.get("upper")
    above = lower is None or value >= Decimal(lower)
    return above and (upper is None or value <= Decimal(upper))


def limits(want: Want) -> str:
    """“0 to 100”, “at least 0”, or nothing."""
    lower, upper = want.get("lower"), want.get("upper")
    if lower is not None and upper is not None:
        return f"{lower} to {upper}"
    if lower is not None:
        return f"at least {lower}"
    return f"at most {upper}" if upper is not None else ""
