"""The database as it is at one moment, read without holding up whoever writes."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction


@contextmanager
def snapshot() -> Iterator[None]:
    """Every read inside sees the same moment. Nothing is written inside.

    On SQLite the transactions of the product take the one writer's place at once, so a long read
    begins one of its own that does not. Inside a transaction that is there already, that one is
    the moment.
    """
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
    else:
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")
            try:
                yield
            finally:
                cursor.execute("COMMIT")
