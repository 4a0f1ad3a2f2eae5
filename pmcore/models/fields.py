"""The columns that a recorded row may have. What each looks like in the history stands in `queries/columns.py`."""

from enum import StrEnum
from typing import TYPE_CHECKING, Any

from django.db import models

if TYPE_CHECKING:  # at run time Django's fields take no type arguments
    CharField = models.CharField[Any, Any]
    BigIntegerField = models.BigIntegerField[Any, Any]
else:
    CharField, BigIntegerField = models.CharField, models.BigIntegerField


class Identifier(BigIntegerField):
    """A number given by the writer. On SQLite it is the row's own number; the table needs no other index."""

    def db_type(self, connection: Any) -> str | None:
        return "integer" if connection.vendor == "sqlite" else super().db_type(connection)

    def rel_db_type(self, connection: Any) -> str | None:
        return "bigint"


class Code(CharField):
    """A word of the shared vocabulary. The words are no part of the migration: adding one changes no table."""

    def __init__(self, vocabulary: type[StrEnum] | None = None, **options: Any) -> None:
        self.vocabulary = vocabulary
        options.setdefault("max_length", 40)
        super().__init__(**options)


class Quantity(CharField):
    """A number as it was written down, digits kept: "0.120" is not "0.12", and no float touches it."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("max_length", 24)
        super().__init__(**options)


# The writer checks every reference before it takes the lock, and nothing recorded is ever deleted: checking again in
# the database would hold the lock twice as long. Indexes are named where a reader needs them.
_REFERENCE: dict[str, Any] = {
    "on_delete": models.PROTECT,
    "related_name": "+",
    "db_index": False,
    "db_constraint": False,
}


class FreeText(models.ForeignKey[Any, Any]):
    """Words that a person typed. The history holds their salted hash: they can be redacted, and it still holds."""

    def __init__(self, **options: Any) -> None:
        options.update(_REFERENCE, to="pmcore.Text")
        super().__init__(**options)


def to(thing: str, *, null: bool = False) -> "models.ForeignKey[Any, Any]":
    """A reference to a thing. No way leads back: a reverse look-up would read values that were corrected since."""
    return models.ForeignKey(f"pmcore.{thing}", null=null, **_REFERENCE)


def code(vocabulary: type[StrEnum], *, null: bool = False) -> Code:
    return Code(vocabulary, null=null)


def words(length: int, *, null: bool = False) -> "models.CharField[Any, Any]":
    """A short name or number that identifies something; never what a person may have to take back."""
    return models.CharField(max_length=length, null=null)


def free_text(*, null: bool = True) -> FreeText:
    return FreeText(null=null)


def quantity(*, null: bool = True) -> Quantity:
    return Quantity(null=null)


def day(*, null: bool = False) -> "models.DateField[Any, Any]":
    return models.DateField(null=null)


def moment(*, null: bool = False) -> "models.DateTimeField[Any, Any]":
    return models.DateTimeField(null=null)


def integer(*, null: bool = False) -> "models.IntegerField[Any, Any]":
    return models.IntegerField(null=null)


def flag(*, null: bool = False) -> "models.BooleanField[Any, Any]":
    return models.BooleanField(null=null)
