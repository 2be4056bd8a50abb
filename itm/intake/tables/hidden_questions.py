"""Whether rows that a workbook hides belong to its table: a person says so and nobody else."""

from collections.abc import Mapping

from itm.intake.tables.questions import NAMED, Question, given

CODE = "hidden"
TAKE, LEAVE_OUT = "in", "out"


def hidden_asked(rows: list[int], answers: Mapping[str, str]) -> list[Question]:
    if not rows:
        return []
    named = ", ".join(map(str, rows[:NAMED]))
    more = f" and {len(rows) - NAMED:,} more" if len(rows) > NAMED else ""
    one = len(rows) == 1
    sentence = (
        f"Row{'' if one else 's'} {named}{more}: hidden in this workbook, as by a filter, and not "
        f"empty. {'Is it a row' if one else 'Are they rows'} of the table?"
    )
    choices = (
        (TAKE, "yes: read like the others"),
        (LEAVE_OUT, "no: leave out what is hidden"),
    )
    return [Question(CODE, sentence, choices, given(answers, CODE, choices))]
