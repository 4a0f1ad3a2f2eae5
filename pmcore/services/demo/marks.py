"""Whether the record holds a demonstration: one entry says that it was begun, its last one that it is built."""

import datetime as dt
from dataclasses import dataclass

from django.db.models import Max

from pmcore.engines.records import SYSTEM
from pmcore.models import Entry, Setting, SettingValue
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.services.append import append
from pmcore.services.demo.diary import moment
from pmcore.services.lock import writing
from pmcore.services.refusals import RecordRefused

SETTING = "demonstration"
_BEGUN_AT = 1  # hour of the first day
START_ANEW = (
    "Delete the data folder (PMCORE_DATA, or `data` in the checkout), or empty the database that DATABASE_URL names, "
    "then build again."
)


class RecordInUse(RecordRefused):
    """The record already holds something else; a demonstration is built into an empty one."""


class BuildInterrupted(RecordRefused):
    """A demonstration was begun here and is not finished."""


class AnotherDemonstration(RecordRefused):
    """The record holds a demonstration of another seed or size."""


@dataclass(frozen=True, slots=True)
class Demonstration:
    seed: int
    devices: int

    def __str__(self) -> str:
        return f"seed {self.seed}, {self.devices} devices"


def is_built(wanted: Demonstration) -> bool:
    """It is there, whole; False: the record is empty. Raises RecordInUse, BuildInterrupted, AnotherDemonstration."""
    values = list(
        SettingValue.objects.current().filter(setting__name=SETTING).order_by("from_on").values_list("value", flat=True)
    )
    if not values:
        if head().size:
            raise RecordInUse(
                "The record already holds something else, and nothing of it was touched. A demonstration is built into "
                "an empty one: name another data folder with PMCORE_DATA."
            )
        return False
    if len(values) < 2:
        raise BuildInterrupted(f"A demonstration ({values[0]}) was begun and is not finished, or is still being built. "
                               f"{START_ANEW}")  # fmt: skip
    if values[-1] != str(wanted):
        raise AnotherDemonstration(f"The record holds a demonstration of {values[-1]}, not of {wanted}. {START_ANEW}")
    return True


def written_last() -> dt.datetime | None:
    """The latest moment of the history, if it has any."""
    newest: dt.datetime | None = Entry.objects.aggregate(newest=Max("at"))["newest"]
    return newest


def mark_begun(wanted: Demonstration, on: dt.date) -> int:
    """The first entry of the record; gives back the setting. Raises what `is_built` raises, if somebody was faster."""
    with writing():
        if is_built(wanted):
            raise RecordInUse("The record already holds this demonstration: somebody else has just built it.")
        setting = Row(Setting, name=SETTING)
        said = Row(SettingValue, setting=setting, from_on=on, value=str(wanted))
        return append("setting_named", setting, [setting, said], actor=SYSTEM, at=moment(on, _BEGUN_AT)).subject


def mark_built(setting: int, wanted: Demonstration, at: dt.datetime) -> None:
    said = Row(SettingValue, setting=setting, from_on=at.date(), value=str(wanted))
    append("setting_changed", setting, [said], actor=SYSTEM, at=at)
