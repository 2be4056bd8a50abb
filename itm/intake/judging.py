"""What judges the rows of each kind of table."""

from collections import defaultdict
from collections.abc import Mapping
from typing import Any, Protocol

from itm.accounts.actor import Actor
from itm.intake.history_rows import HistoryRows
from itm.intake.models import Upload
from itm.intake.past_check_rows import PastCheckRows
from itm.intake.past_inspection_rows import PastInspectionRows
from itm.intake.reading_rows import ReadingRows
from itm.intake.registry_rows import RegistryRows
from itm.intake.tables.known import Known
from itm.intake.tables.reading import Batch, Told
from itm.intake.value_rows import ValueRows


class Rows(Protocol):
    """What judges the rows of one kind of table, and knows the names that they may say."""

    @property
    def known(self) -> Mapping[str, Known]: ...

    def judged(self, batch: Batch, told: Told) -> Any: ...
    def finish(self, told: Told) -> None: ...


def rows_of(actor: Actor, row: Upload, columns: Mapping[str, int]) -> Rows:
    """Under the answers that were given about names."""
    means: dict[str, dict[str, str]] = defaultdict(dict)
    for code, said in row.answers.items():
        if code.startswith("means:"):
            _, name, text = code.split(":", 2)
            means[name][text] = said
    if row.kind == Upload.Kind.HISTORY:
        return HistoryRows(actor, today=actor.today, means=means, columns=columns)
    if row.kind == Upload.Kind.PAST_CHECKS:
        return PastCheckRows(actor, today=actor.today, means=means, columns=columns)
    if row.kind == Upload.Kind.PAST_INSPECTIONS:
        return PastInspectionRows(actor, today=actor.today, means=means, columns=columns)
    if row.kind == Upload.Kind.VALUES:
        return ValueRows(actor, means=means, columns=columns)
    if row.test is not None:
        return ReadingRows(actor, row.test, means=means, columns=columns)
    return RegistryRows(actor, row.kind, means=means, columns=columns)
