"""The parameters of a list of due inspections, as an address gives them: the same words for page and interface."""

import datetime as dt
from collections.abc import Mapping, Sequence

from pmcore.engines.vocabulary import DueState, RiskClass
from pmcore.queries.due_list import TO_DO, DueFilter, Key
from pmcore.queries.parameters import Parameters, a_day, a_number, a_word_of

NAMES = (
    "week", "closes_from", "closes_to", "site", "area", "device_class", "risk_class", "state", "given_to", "words",
    "known", "after",
)  # fmt: skip
NOBODY = "nobody"
_LONGEST_WORDS = 80


def week_of(any_day: dt.date) -> tuple[dt.date, dt.date]:
    """Monday and Sunday of the week in which the day lies."""
    monday = any_day - dt.timedelta(days=any_day.weekday())
    return monday, monday + dt.timedelta(days=6)


class DueAsked(Parameters):
    """`filter()` reads what was asked; `week`, `known` and `after` (closing day and id, where a page ended) stand
    beside it."""

    week: dt.date | None = None
    known: int | None = None
    after: Key | None = None

    def filter(self, week: dt.date | None = None) -> DueFilter:
        """`week`: a day of the week that is meant where none is said; its list reaches to its Sunday. Raises
        BadParameters."""
        self.week, self.known, self.after = self.one("week", _week), self.one("known", a_number), self.one("after", key)
        closes_from, closes_to = self.one("closes_from", a_day), self.one("closes_to", a_day)
        sites, areas, classes = (self.many(name, a_number) for name in ("site", "area", "device_class"))
        risk_classes = self.many("risk_class", a_word_of(RiskClass))
        states = self.many("state", a_word_of(DueState))
        given_to, words = self.one("given_to", _person), self.one("words", _words)
        if self.week and closes_to:
            self.errors["closes_to"] = "Say a week or closing days, not both."
        self.week = self.week or (week if closes_to is None else None)
        if self.week is not None and closes_to is None:
            closes_to = week_of(self.week)[1]
        if closes_from and closes_to and closes_from > closes_to:
            self.errors["closes_from"] = f"The period begins on {closes_from}, after its end on {closes_to}."
        self.refuse()
        return DueFilter(
            closes_to, closes_from, sites, areas, classes, risk_classes, TO_DO if states is None else states,
            assigned_to=given_to or None, unassigned=given_to == 0, words=words,
        )  # fmt: skip


def asked_for(given: Mapping[str, Sequence[str]]) -> DueAsked:
    return DueAsked(given, NAMES)


def key(text: str) -> Key:
    """A closing day and an id, as in `2026-11-08,4711`."""
    first, comma, second = text.partition(",")
    if not comma:
        raise ValueError(f"{text!r} is no place in the list; take it from the page before.")
    return a_day(first), a_number(second)


def key_text(place: Key) -> str:
    return f"{place[0]},{place[1]}"


def _person(text: str) -> int:
    """0 for nobody."""
    if text == NOBODY:
        return 0
    try:
        return a_number(text)
    except ValueError:
        raise ValueError(f"{text!r} is neither a person's number nor {NOBODY!r}.") from None


def _week(text: str) -> dt.date:
    found = a_day(text)
    if not 1900 <= found.year <= 2200:
        raise ValueError(f"{text!r} lies too far away.")
    return found


def _words(text: str) -> str:
    if len(text) > _LONGEST_WORDS or "\x00" in text:
        raise ValueError(f"at most {_LONGEST_WORDS} letters are looked for.")
    return text.strip()
