"""Fields of a form as they were filled in: each keeps what was typed, with what is wrong beside it."""

import datetime as dt
import uuid
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TypeVar
from zoneinfo import ZoneInfo

from django.http import QueryDict

from pmcore.engines.patient_words import LooksLike, looks_like_patient
from pmcore.queries.columns import take_free_text

_Value = TypeVar("_Value")

LONGEST = 2_000
_GONE = "What you chose is not on offer any more. Send the form without it."
MOST_DIGITS = 18
"""Every number of so many digits fits into the record."""

_LOOKS_LIKE = {
    LooksLike.NAME: "a patient's name",
    LooksLike.BIRTH: "a day of birth",
    LooksLike.HOSPITAL_NUMBER: "a hospital number",
}


@dataclass
class Field:
    """`kind`: line, long, select, buttons, ticks, date, time or hidden. `choices`: values and words; `values`: what was
    typed or chosen, several of `ticks` alone. A select without choices that is not needed is no question to anybody,
    but is judged: what was on offer when the page was loaded may be gone."""

    name: str
    label: str
    kind: str = "line"
    choices: tuple[tuple[str, str], ...] = ()
    values: tuple[str, ...] = ()
    hint: str = ""
    error: str = ""
    needed: str = ""  # what is said where nothing was given
    focus: bool = False  # where whoever opens the page goes on

    @property
    def value(self) -> str:
        return self.values[0] if self.values else ""

    @property
    def given(self) -> tuple[str, ...]:
        """Everything that was chosen."""
        return tuple(filter(None, self.values))

    @property
    def asked(self) -> bool:
        return self.kind != "select" or bool(self.choices or self.needed or self.error)

    @property
    def id(self) -> str:
        return f"f-{self.name.replace(':', '-')}"

    def take(self, sent: QueryDict) -> None:
        """Keeps what was sent, and says what is wrong with it."""
        self.keep(sent)
        self.judge()

    def keep(self, sent: QueryDict) -> None:
        given = tuple(filter(None, (value.strip() for value in sent.getlist(self.name))))
        self.values = given if self.kind == "ticks" else given[:1]

    def judge(self) -> None:
        if not any(self.values):
            self.error = self.needed
        elif self.kind in {"select", "buttons", "ticks"}:
            known = {value for value, _ in self.choices}
            if not known.issuperset(filter(None, self.values)):
                self.error = _GONE if not known else "Choose one of these."
        elif len(self.value) > LONGEST:
            self.error = f"At most {LONGEST:,} letters are kept."
        elif self.kind in {"line", "long"}:
            self._read(take_free_text, "It holds a character that cannot be kept; take it out.")

    @property
    def number(self) -> int | None:
        """The id that was chosen, or the number that was typed."""
        if not (self.value.isascii() and self.value.isdigit()):
            return None
        if len(self.value) > MOST_DIGITS:
            self.error = self.error or f"A number of more than {MOST_DIGITS} digits is not kept."
            return None
        return int(self.value)

    def day(self) -> dt.date | None:
        return self._read(dt.date.fromisoformat, "Say the day as 2026-10-31.")

    def time(self) -> dt.time | None:
        return self._read(dt.time.fromisoformat, "Say the time as 09:30.")

    def _read(self, read: Callable[[str], _Value], advice: str) -> _Value | None:
        """None: nothing was typed, or what it was is said to be wrong."""
        try:
            return read(self.value) if self.value else None
        except ValueError:
            self.error = advice
            return None


@dataclass
class Form:
    """`looked`: the caution about patients was shown, and is not shown again."""

    fields: list[Field]
    key: str = field(default_factory=lambda: uuid.uuid4().hex)
    error: str = ""
    caution: str = ""
    looked: bool = False

    def of(self, name: str) -> Field:
        return next(each for each in self.fields if each.name == name)

    @property
    def wrong(self) -> int:
        return bool(self.error) + sum(bool(each.error) for each in self.fields)

    def take(self, sent: QueryDict) -> None:
        for each in self.fields:
            each.take(sent)
        self.key = sent.get("key") or self.key
        self.looked = sent.get("looked") == "yes"


def caution_of(fields: Iterable[Field]) -> str:
    """What in the words looks like a patient, as a sentence; nothing: an empty one."""
    for each in fields:
        like = looks_like_patient(each.value) if each.kind in {"line", "long"} else None
        if like is not None:
            return (
                f"“{each.label}” seems to hold {_LOOKS_LIKE[like]}. No patient data belongs in here. Take it out, "
                "or send it once more if it is none."
            )
    return ""


def choices_of(pairs: Iterable[tuple[object, str]]) -> tuple[tuple[str, str], ...]:
    return tuple((str(value), word) for value, word in pairs)


def moment_of(day: dt.date, time: dt.time, zone: str) -> dt.datetime | None:
    """Of a clock on the wall; None where the clocks were put forward over that time."""
    local = dt.datetime.combine(day, time.replace(tzinfo=None), ZoneInfo(zone))
    moment = local.astimezone(dt.UTC)
    return moment if moment.astimezone(ZoneInfo(zone)).replace(tzinfo=None) == local.replace(tzinfo=None) else None
