"""The verb of inspections: one task of a round, as it was found."""

from itm.doors.deeds import inspecting
from itm.doors.verb import Field, Verb

SAID = (
    Field("duty", "key of the task that is asked at the site", needed=True),
    Field(
        "answers",
        "what was found, each as the key of what is wanted, a colon and the answer, such as "
        "“level: 95” or “valves: yes”; of a photo its key, once it was handed over",
        listed=True,
    ),
    Field("broken", "not in order for a reason that no answer shows", choices=("True", "False")),
    Field("note", "anything else"),
    Field("reason", "why it was not possible; then without answers"),
    Field("done_on", "day; that of the stamp if nothing is said"),
)
INSPECT = (
    Verb(
        "inspect", "A task of a round was done, or was not possible; tasks of one person on one "
        "day of the visit are one inspection.", inspecting.inspect, "visit", SAID,
    ),
    Verb(
        "inspect_site", "The same with no visit, on a round of the owner's own people; tasks of "
        "one person on one day at the site are one inspection.", inspecting.inspect_site, "site",
        SAID,
    ),
)  # fmt: skip
