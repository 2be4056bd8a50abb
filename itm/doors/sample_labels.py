"""Labels of the samples of a day, worked out for each bench once over all its tests."""

from collections.abc import Mapping
from itertools import islice
from typing import Any

from itm.records.labels import labels_from, stem_of

SAMPLES = 4  # lines and labels a flow point; own choice
SYSTEM_WATER = "system water"  # has a line also where nobody has put it on the bench yet


def stem_in(bench: Mapping[str, Any], test: Mapping[str, Any], run: Mapping[str, Any]) -> str:
    """Rows as the day tells them (`day.day_of`)."""
    tag = "" if test["device"] == bench["first_device"] else test["tag"]
    return stem_of(run["name"], phase=test["phase"], tag=tag)


def printed(day: Mapping[str, Any]) -> dict[str, list[str]]:
    """By key of the run, the labels of its first samples, as device and server will name them. No
    two bottles of a bench share one; those that bear one already keep it, so that the same paper
    comes out whenever it is printed."""
    out: dict[str, list[str]] = {}
    for bench in day["benches"]:
        given: set[str] = set()
        for test in (one for one in day["tests"] if one["bench"] == bench["key"]):
            for run in test["runs"]:
                others = {one["label"] for one in bench["bottles"] if one["run"] != run["key"]}
                free = labels_from(stem_in(bench, test, run), given | others)
                out[run["key"]] = list(islice(free, SAMPLES))
                given |= set(out[run["key"]])
    return out
