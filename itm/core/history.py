"""Append-only history: who changed what, when, from where, before and after.

Business objects are `Tracked`: saving writes the difference and the person. Whatever passes by
`save()` (update, delete, bulk_*) is refused unless it stands inside `bulk(...)`, which notes the
whole batch as one change.
"""

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, ClassVar, Protocol

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models, transaction
from django.db.models.fields.files import FieldFile


class Author(Protocol):
    """What history needs to know of an actor; `accounts.Actor` is one."""

    @property
    def person_key(self) -> uuid.UUID | None: ...
    @property
    def person(self) -> str: ...
    @property
    def organisation_name(self) -> str: ...
    @property
    def via(self) -> str: ...


class Change(models.Model):
    """One change of one object, or one batch. Names by value: history outlives its authors."""

    guard = "append_only"
    at = models.DateTimeField(auto_now_add=True, db_index=True)
    person_key = models.UUIDField(null=True)
    person = models.CharField(max_length=200)
    organisation = models.CharField(max_length=200)
    via = models.CharField(max_length=20, help_text="page, command, sweep, …")
    model = models.CharField(max_length=60)
    object_key = models.UUIDField(null=True, help_text="Null for a batch")
    verb = models.CharField(max_length=20)
    before = models.JSONField(encoder=DjangoJSONEncoder, default=dict)
    after = models.JSONField(encoder=DjangoJSONEncoder, default=dict)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["model", "object_key"], name="change_of_object")]

    def __str__(self) -> str:
        return f"{self.verb} {self.model} {self.object_key or ''}".strip()


_batch: ContextVar[bool] = ContextVar("history_batch", default=False)


_because: ContextVar[str] = ContextVar("history_because", default="")


@contextmanager
def because(text: str) -> Iterator[None]:
    """Every line inside that says nothing of its own names this: what the change came with."""
    token = _because.set(text)
    try:
        yield
    finally:
        _because.reset(token)


def note(
    by: Author, verb: str, *, of: models.Model | None = None, model: str = "",
    before: dict | None = None, after: dict | None = None, text: str = "",
) -> Change:  # fmt: skip
    """Write one line of history. The caller is inside the transaction of the change itself."""
    return Change.objects.create(
        person_key=by.person_key,
        person=by.person,
        organisation=by.organisation_name,
        via=by.via,
        model=of._meta.label if of is not None else model,
        object_key=getattr(of, "key", None),
        verb=verb,
        before=before or {},
        after=after or {},
        note=(text or _because.get())[:500],
    )


@contextmanager
def bulk(
    by: Author,
    verb: str,
    model: type[models.Model],
    text: str = "",
    *,
    of: models.Model | None = None,
) -> Iterator[None]:
    """Allow update, delete and bulk_* on tracked rows inside, noted as one change (of one row)."""
    with transaction.atomic():
        token = _batch.set(True)
        try:
            yield
        finally:
            _batch.reset(token)
        note(by, verb, of=of, model=model._meta.label, text=text)


def of_object(row: models.Model) -> models.QuerySet[Change]:
    """Its lines, the first one first."""
    key = getattr(row, "key", None)
    return Change.objects.filter(model=row._meta.label, object_key=key).order_by("pk")


class TrackedQuerySet(models.QuerySet):
    """Refuses every write that would pass by the history."""

    def _outside_history(self, what: str) -> None:
        if not _batch.get():
            raise RuntimeError(
                f"{what} on {self.model._meta.label} passes by the history: save each object, "
                "or work inside history.bulk(...)."
            )

    def create(self, *, by: Author, **values: Any) -> Any:  # type: ignore[override]
        row: Any = self.model(**values)
        row.save(by=by, force_insert=True, using=self.db)
        return row

    def update(self, **values: Any) -> int:
        self._outside_history("update()")
        return super().update(**values)

    def delete(self) -> tuple[int, dict[str, int]]:
        self._outside_history("delete()")
        return super().delete()

    def bulk_create(self, *args: Any, **kwargs: Any) -> Any:
        self._outside_history("bulk_create()")
        return super().bulk_create(*args, **kwargs)

    def bulk_update(self, *args: Any, **kwargs: Any) -> int:
        self._outside_history("bulk_update()")
        return super().bulk_update(*args, **kwargs)

    def get_or_create(self, *args: Any, **kwargs: Any) -> Any:
        raise RuntimeError("get_or_create() names no person: look first, then create(by=...).")

    update_or_create = get_or_create


def as_noted(value: Any) -> Any:
    """What history keeps of a stored file is its name."""
    return value.name if isinstance(value, FieldFile) else value


class Tracked(models.Model):
    """A business object: has a key that never changes, and a history."""

    # Columns that follow from others and the calendar: written with the rest, never noted.
    derived: ClassVar[frozenset[str]] = frozenset()
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)

    class Meta:
        abstract = True

    def save(  # type: ignore[override]
        self, *args: Any, by: Author, verb: str = "", text: str = "", **kwargs: Any
    ) -> None:
        """Save and note the difference under the name of `by`; nothing changed is nothing noted.

        Only the changed columns are written, so that entries of two people in different fields of
        one row merge.
        """
        after = {
            f.attname: as_noted(getattr(self, f.attname))
            for f in self._meta.concrete_fields
            if not f.primary_key and not isinstance(f, models.BinaryField)
        }
        loaded: dict = getattr(self, "_loaded", {})
        before = {name: loaded[name] for name in after if name in loaded}
        changed = [n for n in after if n not in before or before[n] != after[n]]
        if loaded and not changed:
            return
        if loaded:
            kwargs.setdefault("update_fields", changed)
        noted = [n for n in changed if n not in self.derived]
        with transaction.atomic():
            super().save(*args, **kwargs)
            if noted:
                note(
                    by,
                    verb or ("changed" if loaded else "created"),
                    of=self,
                    before={n: before[n] for n in noted if n in before},
                    after={n: after[n] for n in noted if n != "key"},
                    text=text,
                )
        self._loaded = {**loaded, **after}

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        raise RuntimeError("Business objects are retired or set aside, never deleted.")

    @classmethod
    def from_db(cls, db: Any, field_names: Any, values: Any) -> Any:  # type: ignore[override]
        row = super().from_db(db, field_names, values)
        row._loaded = dict(zip(field_names, values, strict=False))
        return row

    def refresh_from_db(self, *args: Any, **kwargs: Any) -> None:
        super().refresh_from_db(*args, **kwargs)
        self._loaded = {
            f.attname: self.__dict__[f.attname]
            for f in self._meta.concrete_fields
            if f.attname in self.__dict__
        }
