"""Days, numbers and codes as a person reads them."""

import datetime as dt

from pmcore import alert_words
from pmcore.queries.due_list import DueItem

hold_in_words = alert_words.hold_in_words
held_in_words = alert_words.held_in_words

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def day_in_words(day: dt.date, *, weekday: bool = False) -> str:
    """`31 October 2026`, with its weekday before it on request."""
    written = f"{day.day} {MONTHS[day.month - 1]} {day.year}"
    return f"{_WEEKDAYS[day.weekday()]} {written}" if weekday else written


def short_day(day: dt.date) -> str:
    """`Sat 31 Oct`."""
    return f"{_WEEKDAYS[day.weekday()][:3]} {day.day} {MONTHS[day.month - 1][:3]}"


def minutes_in_words(minutes: int) -> str:
    """`3 h 20 min`."""
    hours, rest = divmod(minutes, 60)
    return " ".join(part for part in (f"{hours} h" if hours else "", f"{rest} min" if rest else "") if part) or "0 min"


def month_in_words(month: dt.date) -> str:
    return f"{MONTHS[month.month - 1]} {month.year}"


def words_of(code: str) -> str:
    """A code of the vocabulary as words: `high_risk` is `high risk`."""
    return code.replace("_", " ")


_SMALL = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def in_words(count: int) -> str:
    """Up to ten as a word, above in figures."""
    return _SMALL[count] if 0 <= count < len(_SMALL) else f"{count:,}"


def not_done_in_words(row: DueItem) -> str:
    """What stood in the way so far: `Somebody went twice in vain, last on 20 Feb: with a patient.`"""
    said = []
    if row.tried_on is not None and row.tried_outcome is not None:
        times = {1: "once", 2: "twice"}.get(row.attempts, f"{in_words(row.attempts)} times")
        last = "on" if row.attempts == 1 else "last on"
        day = short_day(row.tried_on).partition(" ")[2]
        said.append(f"Somebody went {times} in vain, {last} {day}: {words_of(row.tried_outcome)}.")
    if row.reason is not None:
        said.append(f"Reason recorded: {words_of(row.reason)}.")
    return " ".join(said)


def gone_in_words(thing: str, on: dt.date, words: str) -> str:
    """What was taken back: `the finding of 1 June 2026, “It creaks”`."""
    said = f"the {words_of(thing)} of {day_in_words(on)}"
    if thing == "hold":
        return f"{said} because {hold_in_words(words)}"
    return f"{said}, “{words.rstrip('.')}”" if words else said


def sentence(words: str) -> str:
    """With a full stop at its end."""
    return words if words.endswith((".", "!", "?")) else f"{words}."
