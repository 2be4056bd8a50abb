"""The verb of a test that is begun where its proportioner stands."""

from itm.doors.deeds import beginning
from itm.doors.verb import Field, Verb
from itm.records.models import ProportioningTest

PURPOSES = tuple(ProportioningTest.Purpose.values)
PHASES = tuple(ProportioningTest.Phase.values)

BEGIN = (
    Verb(
        "begin_test", "A test with a bench is begun on the spot. Its key, and those of all that is "
        "laid for it, follow from visit, proportioner, phase and what it is read with: two devices "
        "that begin the same mean one test.", beginning.begin_test, "visit",
        (
            Field("proportioner", "key of the proportioner", needed=True),
            Field(
                "test",
                "the key that the device worked out for it, on which all else of the device hangs; "
                "refused where a test that was given up has it",
            ),
            Field("purpose", "what it is for", needed=True, choices=PURPOSES),
            Field("phase", "as found if nothing is said", choices=PHASES),
            Field("adjusted", "as left: which parts were adjusted or renewed"),
            Field("flow_points", "keys; all of the proportioner if nothing is said", listed=True),
            Field("bench", "key of a bench of the visit; “new” if nothing is said"),
            Field("instrument", "of a new bench: key of the instrument"),
            Field("lot", "of a new bench: key of the lot that its standards are made from"),
            Field("water_source", "of a new bench: where the test water was caught"),
            Field("glassware", "of a new bench: what the standards are measured with"),
            Field("batch_volume_ml", "of a new bench: mL of each standard, 200 if not said"),
            Field(
                "correct_temperatures", "every reading to one temperature",
                choices=("True", "False"),
            ),
            Field(
                "other_percent_because",
                "why it goes on although concentrate and proportioner are labelled with other "
                "percents",
            ),
            Field("notes", "anything else"),
        ),
        merges=True,
    ),
)  # fmt: skip
