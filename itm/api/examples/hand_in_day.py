"""Hand in a whole test day, with nothing beside Python itself.

    FOAM_ITM_TOKEN=itm.… python hand_in_day.py http://127.0.0.1:8000/api/v1 PR-1

It looks up the proportioner with that tag, takes the day below and hands it in. The readings are
invented: put those of your own bench in their place. Signing stays with a person on the pages.
"""

import json
import os
import sys
import time
import uuid
from datetime import datetime, timedelta
from urllib.error import HTTPError
from urllib.parse import quote
from urllib.request import Request, urlopen

START = datetime.fromisoformat("2026-06-15T09:00:00+01:00")
WATER, STANDARDS, SAMPLE = "1.33300", {"2": "1.33340", "3": "1.33360", "4": "1.33380"}, "1.33364"
VOLUMES = {"2": ("4.0", "196.0"), "3": ("6.0", "194.0"), "4": ("8.0", "192.0")}  # mL of 200


def ask(method, path, body=None, key=None, **more):
    """One request; a refusal is shown as the server words it, place by place."""
    headers = {"Authorization": f"Bearer {os.environ['FOAM_ITM_TOKEN']}", **more}
    if body is not None:
        headers["Content-Type"] = "application/json"
    if key is not None:  # sent again after a broken line, it is still done once
        headers["Idempotency-Key"] = str(key)
    data = None if body is None else json.dumps(body).encode()
    request = Request(sys.argv[1] + path, data, headers, method=method)
    try:
        with urlopen(request, timeout=60) as answer:
            return json.load(answer)
    except HTTPError as error:
        problem = json.load(error)
        lines = [f"  {one['pointer']}: {one['detail']}" for one in problem["errors"]]
        raise SystemExit("\n".join([problem["detail"], *lines])) from error


def hand_in_all(days):
    """Up to a thousand days, each with a key of its own: they are accepted at once and taken one by
    one, and what became of each is told under the key of the request. Broken off, it may be run
    again with the same keys: no day is taken twice."""
    key = uuid.uuid4()
    ask("POST", "/tests/bulk/", {"days": days}, key, Prefer="respond-async")
    while (told := ask("GET", f"/tests/bulk/{key}/"))["left"]:
        print(f"{told['days'] - told['left']} of {told['days']}", file=sys.stderr)
        time.sleep(5)
    for one in told["answers"]:
        if one["state"] == "refused":
            lines = [f"  {fault['pointer']}: {fault['detail']}" for fault in one["errors"]]
            print("\n".join([one["detail"], *lines]), file=sys.stderr)
    return [one["made"] for one in told["answers"] if one["made"]]


def clock(now=START):
    """Each call is twenty seconds later, as the steps of a day follow each other."""
    while True:
        now += timedelta(seconds=20)
        yield now.isoformat()


def day(device, instrument, lot):
    times = clock()

    def read(value):
        return {"readings": [{"value": value, "temperature": "20.0", "read_at": next(times)}]}

    runs = [
        {
            "flow_point": point["key"],
            "solution_flow": point["flow"]["typed"],
            "flow_source": "meter",
            "inlet_pressure": "7.5 bar",
            "foam_seen_at": next(times),
            "samples": [{"taken_at": next(times)} for _ in range(3)],
        }
        for point in device["flow_points"]
        if point["retired_on"] is None
    ]
    flush = [{"text": step, "done_at": next(times)} for step in device["flush"]]
    restoration = [
        {"text": line, "outcome": "restored", "ended_at": next(times)}
        for line in device["put_back"]
    ]
    bench = {
        "name": "bench 1",
        "instrument": instrument["key"],
        "lot": lot["key"],
        "water": read(WATER),
        "standards": [
            {"target_percent": percent, **volumes(percent), **read(value)}
            for percent, value in STANDARDS.items()
        ],
        "concentrate": read("1.35300"),
    }
    for run in runs:
        for sample in run["samples"]:
            sample.update(read(SAMPLE))
    bench["water_again"] = read(WATER)
    return {
        "form": 1,
        "visit": {"site": device["site"]["key"], "planned_on": START.date().isoformat()},
        "notices": [{"told": "Monitoring company", "told_at": START.isoformat()}],
        "start": {
            "at": START.isoformat(), "reason": "annual test", "coordinator": "the duty engineer",
        },
        "benches": [bench],
        "tests": [
            {
                "proportioner": device["key"], "purpose": "periodic", "bench": "bench 1",
                "runs": runs, "flush": flush, "restoration": restoration,
            }
        ],
    }  # fmt: skip


def volumes(percent):
    """A thick concentrate is weighed: concentrate_g and water_g in their place, and on the bench
    standards_by "mass" with density ("1.048 g/mL") and density_at ("20 °C")."""
    concentrate, water = VOLUMES[percent]
    return {"concentrate_ml": concentrate, "water_ml": water}


def main():
    found = ask("GET", f"/proportioners/?find={quote(sys.argv[2])}")["results"]
    device = ask("GET", f"/proportioners/{found[0]['key']}/")
    instrument = ask("GET", "/instruments/?limit=1")["results"][0]
    held = ask("GET", f"/tanks/{device['tank']['key']}/?on={START.date()}")["contents"]
    document = day(device, instrument, held["lots"][0]["lot"])
    days = [{"key": str(uuid.uuid4()), "document": document}]  # as many as there are
    for made in hand_in_all(days):
        for one in made["tests"]:
            test = ask("GET", f"/tests/{one['test']}/")
            for point in test["document"]["evaluation"]["result"]["flow_points"]:
                print(point["name"], round(point["percent"], 2), "%", point["limits"])


if __name__ == "__main__":
    main()
