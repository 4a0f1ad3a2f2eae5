"""The three shapes of row, and why nothing here can be saved.

A *thing* is identity only. A *fact* says something of a thing; `replaced_by` means "we recorded it wrongly", while a
change in the world is another fact with a later `from_on`. A *part* belongs to one fact and lives with it.

Rows are written by `services.append` alone. The managers refuse everything else by name, and the guards in the
database (`guards.py`) refuse it to everybody who comes by another door.
"""

import datetime as dt
import re
from typing import Any, ClassVar, NoReturn, Self, TypeVar

from django.db import models
from django.db.models import F, OuterRef, Q, Subquery

from pmcore.models.fields import Identifier

Row_co = TypeVar("Row_co", bound="Recorded", covariant=True)


class RecordIsAppendOnly(TypeError):
    """Somebody tried to save, change or delete a recorded row. Append an entry instead."""

    def __init__(self, table: str) -> None:
        super().__init__(f"{table} is part of the record: it is written by services.append and never changed.")


class NotAskedAsKnown(ValueError):
    """`.on(day)` needs to be told first how much of the record counts."""


class RecordedQuerySet(models.QuerySet[Row_co]):
    """Reads only. `.known(size)` or `.current()` first, then `.on(day)`."""

    _known_as: ClassVar[object] = None  # set on a clone: a history size, or "current"

    def _refuse(self, *args: Any, **options: Any) -> NoReturn:
        raise RecordIsAppendOnly(self.model.record_name())

    bulk_create = bulk_update = create = update = delete = get_or_create = update_or_create = _refuse
    _insert = _update = _raw_delete = _refuse

    def _clone(self) -> Self:
        clone: Self = super()._clone()  # type: ignore[misc]
        clone.__dict__["_known_as"] = self._known_as
        return clone

    def _seen_as(self, known_as: object, condition: Q) -> Self:
        seen = self.filter(condition)
        seen.__dict__["_known_as"] = known_as
        return seen

    def known(self, size: int) -> Self:
        """Rows as they were known when the history had `size` entries."""
        return self._seen_as(size, self.model.known_at(size))

    def current(self) -> Self:
        """Rows as they are known now: not replaced by a later entry."""
        return self._seen_as("current", self.model.known_now())

    def on(self, day: dt.date) -> Self:
        """Of each thing the one fact in force on `day`: the newest by `from_on`, and of one day's the last recorded.
        Costs a look-up by (thing, from_on, id) a row."""
        if self._known_as is None:
            raise NotAskedAsKnown(f"Say .known(size) or .current() before .on({day}).")
        known = self.model.known_now() if self._known_as == "current" else self.model.known_at(self._known_as)
        same_thing = {name: OuterRef(name) for name in self.model.about}
        peers: models.QuerySet[Any] = self.model._default_manager.filter(known, Q(from_on__lte=day), **same_thing)
        return self.filter(pk=Subquery(peers.order_by("-from_on", "-pk").values("pk")[:1]))


class Recorded(models.Model):
    """A row of the record: its id comes from the one counter of all tables, its entry is the one that wrote it."""

    id = Identifier(primary_key=True)
    entry = models.BigIntegerField()

    objects: ClassVar[models.Manager[Any]] = RecordedQuerySet.as_manager()

    about: ClassVar[tuple[str, ...]] = ()

    class Meta:
        abstract = True
        base_manager_name = "objects"

    def __str__(self) -> str:
        return f"{self.record_name()} {self.pk}"

    @classmethod
    def record_name(cls) -> str:
        """The table's name in the history: the class name in lower case with underscores."""
        return re.sub(r"(?<!^)(?=[A-Z])", "_", cls.__name__).lower()

    @classmethod
    def known_at(cls, size: Any) -> Q:
        """Of the rows of the first `size` entries. What can be replaced says more."""
        return Q(entry__lte=size)

    @classmethod
    def known_now(cls) -> Q:
        return Q()

    def _refuse(self, *args: Any, **options: Any) -> NoReturn:
        raise RecordIsAppendOnly(self.record_name())

    # `save`, `loaddata` and the admin all end in `_save_table`.
    save = delete = save_base = _save_table = _refuse


class Thing(Recorded):
    """Identity only. Its columns can never be corrected, so there are few."""

    class Meta(Recorded.Meta):
        abstract = True


class Fact(Recorded):
    """Something said of a thing, named in `about`. Unreplaced, it counts from its own entry on."""

    replaced_by = models.BigIntegerField(null=True)

    class Meta(Recorded.Meta):
        abstract = True

    @classmethod
    def known_at(cls, size: Any) -> Q:
        return Q(entry__lte=size) & (Q(replaced_by__isnull=True) | Q(replaced_by__gt=size))

    @classmethod
    def known_now(cls) -> Q:
        return Q(replaced_by__isnull=True)


class Part(Recorded):
    """A line of one fact (named in `whole`): known as long as the fact is."""

    whole: ClassVar[str]

    class Meta(Recorded.Meta):
        abstract = True

    @classmethod
    def known_at(cls, size: Any) -> Q:
        replaced = f"{cls.whole}__replaced_by"
        return Q(entry__lte=size) & (Q(**{f"{replaced}__isnull": True}) | Q(**{f"{replaced}__gt": size}))

    @classmethod
    def known_now(cls) -> Q:
        return Q(**{f"{cls.whole}__replaced_by__isnull": True})


def replaced_index(table: str) -> models.Index:
    """For the reader that verifies the history: which facts an entry replaced."""
    return models.Index(fields=["replaced_by", "id"], condition=Q(replaced_by__isnull=False), name=f"{table}_replaced")


def undated(table: str, *about: str) -> list[models.Index]:
    """Indexes of a fact that happens, rather than holds from a day on: the facts of a thing."""
    return [models.Index(fields=list(about), name=f"{table}_about"), replaced_index(table)]


def dated(table: str, *about: str) -> tuple[list[models.BaseConstraint], list[models.Index]]:
    """Constraint and indexes of a fact that holds from a day on: of a thing at most one current fact a day,
    and the look-up of the newest one by a day (`RecordedQuerySet.on`)."""
    once = models.UniqueConstraint(
        fields=[*about, "from_on"], condition=Q(replaced_by__isnull=True), name=f"{table}_once_a_day"
    )
    return [once], several_a_day(table, *about)


def several_a_day(table: str, *about: str) -> list[models.Index]:
    """Indexes of a fact that holds from a day on and can change more than once a day, as where a device stands. Of one
    day's facts the last recorded holds on: ids grow with the entries, so no hour is needed, and what was true for a
    few hours still stands in the record. Everything else is `dated`, where a second fact of a day is a slip."""
    by_day = models.Index(*[F(name) for name in about], F("from_on").desc(), F("id").desc(), name=f"{table}_by_day")
    return [by_day, replaced_index(table)]


def just_one_of(name: str, *columns: str) -> models.CheckConstraint:
    """Exactly one of the columns is filled."""
    cases = [Q(**{f"{other}__isnull": other != filled for other in columns}) for filled in columns]
    condition = cases[0]
    for case in cases[1:]:
        condition |= case
    return models.CheckConstraint(condition=condition, name=name)
