"""The sentences in which people are told, the same in a letter and on the page."""

import datetime as dt
from collections.abc import Mapping

from django.utils.text import capfirst

from pmcore.engines.vocabulary import AlertKind, DueState, RiskClass
from pmcore.queries.alerts import AlertItem

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_SMALL = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")

_COUNTED = {
    AlertKind.HIGH_RISK_OVERDUE: ("high-risk inspection is overdue", "high-risk inspections are overdue"),
    AlertKind.OVERDUE: ("inspection is overdue", "inspections are overdue"),
    AlertKind.LONG_HOLD: ("device has been on hold for long", "devices have been on hold for long"),
    AlertKind.CALIBRATION: ("calibration runs out", "calibrations run out"),
    AlertKind.DUE_UNASSIGNED: (
        "inspection falls due soon and is given to nobody",
        "inspections fall due soon and are given to nobody",
    ),
    AlertKind.OPENED: ("window has opened", "windows have opened"),
}

RULES = {
    AlertKind.DUE_UNASSIGNED: "An inspection falls due soon and is given to nobody",
    AlertKind.OPENED: "The window of an inspection opens",
    AlertKind.OVERDUE: "An inspection is overdue",
    AlertKind.HIGH_RISK_OVERDUE: "A high-risk or life-support inspection is overdue",
    AlertKind.LONG_HOLD: "A device has been on hold for long",
    AlertKind.CALIBRATION: "The calibration of a test instrument runs out",
}
"""What each kind of rule tells of."""

_HOLDS = {
    "finding": "something was found wrong",
    "fault_reported": "a fault was reported that could harm somebody",
    "inspection_failed": "an inspection failed",
    "incomplete_part_set": "a set of parts was not changed whole",
    "donor_of_parts": "parts were taken from it",
    "no_usable_control": "no control could be used",
    "waiting_for_a_part": "it waits for a part",
    "found_again": "it was found again and not inspected yet",
    "unknown_history": "its history is not known",
    "safety_notice": "a safety notice concerns it",
    "unintended_movement": "it moved by itself",
    "not_decontaminated": "it was not decontaminated",
    "other": "of another reason",
}


def day_words(day: dt.date, *, weekday: bool = False) -> str:
    written = f"{day.day} {_MONTHS[day.month - 1]} {day.year}"
    return f"{_WEEKDAYS[day.weekday()]} {written}" if weekday else written


def counted(kinds: Mapping[AlertKind, int]) -> str:
    """`Two high-risk inspections are overdue, one device has been on hold for long.`"""
    said = [f"{_number(count)} {_COUNTED[kind][count != 1]}" for kind, count in kinds.items() if count]
    if kinds.get(AlertKind.HIGH_RISK_OVERDUE):
        said = [each.replace(" inspection", " other inspection", 1) if _is_plain(each) else each for each in said]
    text = ", ".join(said) or "nothing waits for you"
    return f"{capfirst(text)}."


def _is_plain(words: str) -> bool:
    return words.endswith("overdue") and "high-risk" not in words


def about(item: AlertItem) -> str:
    """What it is about: `T-0001 (Orvane Marl, serial OM-1)`."""
    if item.device is not None:
        return str(item.device)
    return f"Test instrument {item.instrument}" if item.instrument else "A device whose name is not recorded"


def sentence(item: AlertItem, today: dt.date) -> str:
    """What is so, as of today; what was done meanwhile is said to be over."""
    if not item.stands:
        return _over(item)
    day = day_words(item.on)
    match item.kind:
        case AlertKind.OVERDUE | AlertKind.HIGH_RISK_OVERDUE if item.due and item.due.state is DueState.NOT_MET:
            return f"{_plan(item)}: missed; its window closed on {day}, and the next is open and undone.{_has_it(item)}"
        case AlertKind.OVERDUE | AlertKind.HIGH_RISK_OVERDUE:
            return f"{_plan(item)}: {_days(today - item.on)} overdue; the window closed on {day}.{_has_it(item)}"
        case AlertKind.DUE_UNASSIGNED:
            return f"{_plan(item)}: given to nobody; the window closes on {day}, {_until(item.on, today)}."
        case AlertKind.OPENED:
            return f"{_plan(item)}: can be done now; the window closes on {day}.{_has_it(item)}"
        case AlertKind.LONG_HOLD:
            why = "and nobody recorded why" if item.hold is None else f"because {hold_in_words(item.hold)}"
            return f"It has been on hold for {_days(today - item.on)}, since {day}, {why}."
        case AlertKind.CALIBRATION if item.on < today:
            return f"Its calibration ran out on {day}; steps that ask for it are not answered until it is calibrated."
        case AlertKind.CALIBRATION:
            return f"Its calibration is good until {day}, {_until(item.on, today)}."


def why(item: AlertItem) -> str:
    """By which step of which rule the person was told."""
    told = day_words(item.told_on)
    match item.kind:
        case AlertKind.OVERDUE | AlertKind.HIGH_RISK_OVERDUE:
            return f"You were told on {told}, from day {item.days} on."
        case AlertKind.LONG_HOLD:
            return f"You were told on {told}, after {item.days} days on hold."
        case _:
            return f"You were told on {told}."


def risk(item: AlertItem) -> str:
    """`high risk` or `life support`, or nothing for ordinary equipment."""
    if item.due is None or item.due.risk_class is RiskClass.OTHER:
        return ""
    if item.kind is AlertKind.HIGH_RISK_OVERDUE and item.due.risk_class is RiskClass.HIGH_RISK:
        return ""  # its kind says so
    return item.due.risk_class.replace("_", " ")


def _plan(item: AlertItem) -> str:
    return item.due.plan_name if item.due is not None and item.due.plan_name else "An inspection"


def _has_it(item: AlertItem) -> str:
    people = [each.name for each in item.due.assigned] if item.due is not None else []
    return f" It is given to {' and '.join(people)}." if people else " It is given to nobody."


def _over(item: AlertItem) -> str:
    match item.kind:
        case AlertKind.LONG_HOLD:
            return "It is on hold no more."
        case AlertKind.CALIBRATION:
            return "It was calibrated since."
        case AlertKind.DUE_UNASSIGNED if item.due is not None and item.due.assigned:
            return f"{_plan(item)}: given to somebody since."
        case _:
            state = item.due.state.replace("_", " ") if item.due is not None else "not to be done any more"
            return f"{_plan(item)}: {state} by now."


def hold_in_words(reason: str) -> str:
    """Why a device is held, after `because`."""
    return _HOLDS.get(reason, reason.replace("_", " "))


def held_in_words(reason: str) -> str:
    """The same after a colon."""
    return "for another reason" if reason == "other" else hold_in_words(reason)


def _number(count: int) -> str:
    return _SMALL[count] if count < len(_SMALL) else f"{count:,}"


def _days(span: dt.timedelta) -> str:
    return "1 day" if span.days == 1 else f"{span.days:,} days"


def _until(day: dt.date, today: dt.date) -> str:
    left = (day - today).days
    if left == 0:
        return "today"
    return f"in {_days(day - today)}" if left > 0 else f"{_days(today - day)} ago"
