"""Rows below a table that look like notes, which a person leaves out and nobody else."""

from collections.abc import Mapping

from itm.intake.tables.questions import Question, given
from itm.intake.tables.survey import Survey

LEFT_OUT, AS_ROWS = "out", "rows"


def notes_asked(survey: Survey, answers: Mapping[str, str]) -> list[Question]:
    if not survey.noted:
        return []
    row, text = survey.notes[0]
    more = f" and {survey.noted - 1} more below it" if survey.noted > 1 else ""
    sentence = f"Row {row} “{text[:80]}”{more}: notes below the table, or rows of it?"
    choices = ((LEFT_OUT, "notes: leave them out"), (AS_ROWS, "rows of the table: read them"))
    # Of these very rows: under another row of heads other rows may look like notes.
    code = f"notes:{row}-{survey.end}"
    return [Question(code, sentence, choices, given(answers, code, choices))]
