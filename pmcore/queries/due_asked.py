"""The parameters of a list of due inspections, as an address gives them: the same words for page and interface."""

import datetime as dt

from pmcore.engines.vocabulary import DueState, RiskClass
from pmcore.queries.due_list import TO_DO, DueFilter, Key
from pmcore.queries.parameters import Parameters, a_day, a_number, a_word_of, some_words

NAMES = (
    "week", "closes_from", "closes_to", "opens_from", "opens_to", "site", "area", "device_class", "risk_class", "state",
    "given_to", "words",
)  # fmt: skip
NOBODY = "nobody"


def week_of(any_day: dt.date) -> tuple[dt.date, dt.date]:
    """Monday and Sunday of the week in which the day lies."""
    monday = any_day - dt.timedelta(days=any_day.weekday())
    return monday, monday + dt.timedelta(days=6)


def due_filter(asked: Parameters, otherwise: dt.date | None = None) -> DueFilter:
    """What the parameters ask for; `otherwise`: a day of the week that is meant where neither a week nor closing days
    are said. A week's list reaches to its Sunday. What is wrong gathers in `asked`."""
    week, closes_from, closes_to, opens_from, opens_to = (asked.one(name, read) for name, read in _DAYS)
    sites, areas, classes = (asked.many(name, a_number) for name in ("site", "area", "device_class"))
    risk_classes, states = asked.many("risk_class", a_word_of(RiskClass)), asked.many("state", a_word_of(DueState))
    given_to, words = asked.one("given_to", _person), asked.one("words", some_words)
    if {"week", "closes_to"} <= asked.given.keys():
        asked.errors.setdefault("closes_to", "Say a week or closing days, not both.")
    if closes_to is None and (week or (otherwise if "closes_to" not in asked.given else None)):
        closes_to = week_of(week or otherwise or dt.date.min)[1]
    for name, first, last in (("closes_from", closes_from, closes_to), ("opens_from", opens_from, opens_to)):
        if first and last and first > last:
            asked.errors[name] = f"The period begins on {first}, after its end on {last}."
    if asked.errors:
        return DueFilter()
    return DueFilter(
        closes_to, closes_from, sites, areas, classes, risk_classes, TO_DO if states is None else states,
        assigned_to=given_to or None, unassigned=given_to == 0, words=words,
        opens_from=opens_from, opens_to=opens_to,
    )  # fmt: skip


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


_DAYS = (
    ("week", _week), ("closes_from", a_day), ("closes_to", a_day), ("opens_from", a_day), ("opens_to", a_day),
)  # fmt: skip
