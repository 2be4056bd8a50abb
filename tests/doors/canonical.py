"""What was handed in, laid beside what was handed in by another way."""

import json
import re
from typing import Any

from itm.records.models import ConcentrateCheck, ProportioningTest

KEY = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")


def handed_in(test: ProportioningTest | ConcentrateCheck) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(bytes(test.moves.get(verb="hand_in").document))
    return found


def same(form: dict[str, Any], scene: Any, *, without: tuple[str, ...] = ()) -> str:
    """The document without the keys of what the door made; those of the register stay."""
    register = {
        str(row.key) for row in (scene.site, scene.proportioner, scene.instrument, scene.tank)
    }
    text = KEY.sub(lambda key: key[0] if key[0] in register else "(key)", json.dumps(form))
    found = _less(json.loads(text), without)
    for table in found["rows"].values():
        table.sort(key=lambda row: json.dumps(row, sort_keys=True))
    return json.dumps(found, sort_keys=True, indent=1)


def _less(value: Any, without: tuple[str, ...]) -> Any:
    if isinstance(value, dict):
        return {k: _less(v, without) for k, v in value.items() if k not in without}
    return [_less(one, without) for one in value] if isinstance(value, list) else value
