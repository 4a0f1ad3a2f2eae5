"""The sentences of the schedule."""

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Sequence

from dashboards.words import day_in_words, in_words, minutes_in_words, short_day
from pmcore.engines.vocabulary import Half
from pmcore.queries.due_list import DueItem, DuePage, GivenTo
from pmcore.queries.workload import PersonLoad
from pmcore.services.assignments import AssignmentCaution, CautionCode

HALVES = {Half.AM: "in the morning", Half.PM: "in the afternoon", None: "at any time of the day"}
_FEW = 4


def headline(page: DuePage, sunday: dt.date | None) -> str:
    """How many there are, how many nobody has, and how grave those are."""
    by = "" if sunday is None else f" that close by {day_in_words(sunday, weekday=True)}"
    if page.all_of_them == 0:
        return f"Nothing is to be done{' that closes by ' + day_in_words(sunday, weekday=True) if sunday else ''}."
    if page.all_of_them == 1:
        one = by.replace("that close by", "that closes by")
        whose = "is given to nobody" if page.given_to_nobody else "is given out"
        return f"The one inspection{one} {whose}."
    if page.given_to_nobody == 0:
        return f"All {page.all_of_them:,} inspections{by} are given out."
    if page.given_to_nobody == page.all_of_them:
        return f"None of the {page.all_of_them:,} inspections{by} is given to anybody yet{_grave(page)}."
    are = "is" if page.given_to_nobody == 1 else "are"
    return f"Of {page.all_of_them:,} inspections{by}, {page.given_to_nobody:,} {are} given to nobody{_grave(page)}."


def _grave(page: DuePage) -> str:
    if page.grave_to_nobody == 0:
        return "; none of them is high-risk"
    if page.given_to_nobody == 1:
        return "; it is high-risk"
    are = "is" if page.grave_to_nobody == 1 else "are"
    return f"; {page.grave_to_nobody:,} of them {are} high-risk"


def why(page: DuePage, loads: Sequence[PersonLoad]) -> str:
    """What stands in the way, and how much the people have."""
    said = []
    if page.overdue:
        one = page.overdue == 1
        said.append(f"{in_words(page.overdue).capitalize()} {'is' if one else 'are'} overdue already.")
    busy = [load for load in loads if load.inspections]
    if not loads:
        said.append("Nobody who could do them works at these sites.")
    elif not busy:
        said.append(f"{_people(len(loads))} could do them, and nobody has anything in this week yet.")
    else:
        most = max(busy, key=lambda load: load.inspections)
        total = sum(load.inspections for load in busy)
        said.append(f"{_people(len(loads))} {'has' if len(loads) == 1 else 'have'} {total:,} in this week")
        said[-1] += f"; {most.name} has most: {most.inspections:,}." if len(loads) > 1 else "."
    return " ".join(said)


def _people(count: int) -> str:
    return "One person" if count == 1 else f"{in_words(count).capitalize()} people"


def given_in_words(count: int, name: str, on: dt.date, half: Half | None) -> str:
    when = f"{day_in_words(on, weekday=True)}, {HALVES[half]}"
    return f"{_inspections(count)} given to {name} for {when}."


def already_in_words(name: str) -> str:
    return f"{name} had all of them on that day already; nothing was written."


def taken_off_in_words(count: int) -> str:
    if count == 0:
        return "None of them was given to anybody; nothing was written."
    return f"{_inspections(count)} taken off; nobody is to do {'it' if count == 1 else 'them'} now."


def load_in_words(load: PersonLoad, on: dt.date) -> str:
    count, minutes = load.on(on)
    if count == 0:
        return ""
    return f"That day {load.name} has {count:,} to do, {minutes_in_words(minutes)} by the sheets."


def cautions_in_words(cautions: Iterable[AssignmentCaution], items: Iterable[DueItem]) -> list[str]:
    """A sentence for each kind of caution."""
    names = {item.due_inspection: item.device.tag or item.device.serial for item in items}
    found = list(cautions)
    said = []
    for code, before, after in _CAUTIONS:
        named = [names.get(each.due_inspection, "one") for each in found if each.code is code]
        if named:
            more = f" and {len(named) - _FEW} more" if len(named) > _FEW else ""
            said.append(f"{before} {', '.join(named[:_FEW])}{more}{after}")
    return said


_CAUTIONS = (
    (CautionCode.AFTER_CLOSE, "Look again: by that day the window has closed for", "."),
    (CautionCode.BEFORE_OPENING, "Look again: by that day the window has not opened for", "."),
    (CautionCode.NO_WORKING_DAY, "Look again: nobody is expected to work that day where", " stands."),
)


def who_in_words(given: Sequence[GivenTo]) -> str:
    """`Ruan Tesk, Mon 2 Nov, morning`."""
    return "; ".join(", ".join(_parts(each)) for each in given)


def _parts(each: GivenTo) -> list[str]:
    parts = [each.name]
    if each.on is not None:
        parts.append(short_day(each.on))
    if each.half is not None:
        parts.append("morning" if each.half is Half.AM else "afternoon")
    return parts


def sites_in_words(rows: Iterable[DueItem]) -> str:
    """`Alderwick General 12, Stennet Point 3`."""
    return ", ".join(f"{name} {count}" for name, count in Counter(row.site_name for row in rows).most_common())


def _inspections(count: int) -> str:
    return "One inspection is" if count == 1 else f"{count:,} inspections are"
