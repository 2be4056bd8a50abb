"""The date that the clocks of each row's own zone show at an instant, reckoned in the database."""

from datetime import datetime
from typing import Any

from django.db.models import DateField, DateTimeField, F, Func, Value


class LocalDate(Func):
    """`zone` is the name of a column that holds a zone of the IANA database."""

    output_field = DateField()

    def __init__(self, instant: datetime | Any, zone: str | Any) -> None:
        if isinstance(instant, datetime):
            instant = Value(instant, DateTimeField())
        super().__init__(instant, F(zone) if isinstance(zone, str) else zone)

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        (instant, of_instant), (zone, of_zone) = map(compiler.compile, self.source_expressions)
        return f"(({instant})::timestamptz AT TIME ZONE {zone})::date", (*of_instant, *of_zone)

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> Any:
        """By Django's own function, which takes the 14 of Etc/GMT-14 for hours of an offset: those
        zones, whose sign is turned round, are reckoned beside it."""
        (instant, of_instant), (zone, of_zone) = map(compiler.compile, self.source_expressions)
        sql = (
            f"CASE WHEN {zone} LIKE 'Etc/GMT-1_' "
            f"THEN date({instant}, '+' || substr({zone}, 9) || ' hours') "
            f"WHEN {zone} LIKE 'Etc/GMT+1_' "
            f"THEN date({instant}, '-' || substr({zone}, 9) || ' hours') "
            f"ELSE django_datetime_cast_date({instant}, {zone}, 'UTC') END"
        )
        return sql, (*2 * (*of_zone, *of_instant, *of_zone), *of_instant, *of_zone)
