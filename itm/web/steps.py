"""The steps of a test day, as the navigation of its pages shows them."""

from typing import Any

from django.urls import reverse

from itm.records.progress import next_step, steps_done, steps_of

LABELS = {
    "prepare": ("Prepare", "test_prepare"),
    "discharge": ("Discharge", "discharge"),
    "flush": ("Stop and flush", "flush"),
    "restore": ("Restore", "restoring"),
    "bench": ("Bench", "bench"),
    "measure": ("Measure", "measure"),
    "result": ("Result", "test"),
}


def steps(test: Any, here: str = "") -> list[dict[str, str]]:
    """For `parts/steps.html`; `here` is the step whose page is shown, else the next one is now."""
    done = steps_done(test)
    now = here or next_step(test)
    out = []
    for step in steps_of(test):
        label, name = LABELS[step]
        state = "current" if step == now else "done" if done[step] else "todo"
        out.append({"label": label, "url": address(test, step, name), "state": state})
    return out


def address(test: Any, step: str, name: str = "") -> str:
    """The page of a step; what is put back belongs to the visit."""
    key = test.visit.key if step == "restore" else test.key
    return reverse(name or LABELS[step][1], args=[key])


def crumbs(test: Any, title: str = "") -> list[tuple[str, str]]:
    """Site, system, visit, test, and the page itself."""
    system = test.proportioner.system
    out = [
        (test.site.name, reverse("site", args=[test.site.key])),
        (system.name, reverse("system", args=[system.key])),
        ("Visit", reverse("visit", args=[test.visit.key])),
        (f"Test of {test.proportioner.tag}", reverse("test", args=[test.key])),
    ]
    return [*out, (title, "")] if title else out
