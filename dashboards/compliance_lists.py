"""What stands by name beside the headline, as sentences."""

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from dashboards.compliance_asking import Answer
from dashboards.words import day_in_words
from pmcore.queries.arrivals import Arrival
from pmcore.queries.doubts import Doubt
from pmcore.queries.standing_lists import Listed


@dataclass(frozen=True, slots=True)
class NamedList:
    """`lines`: device, where it stands, and what is said of it."""

    heading: str
    meaning: str
    lines: tuple[tuple[int, str, str, str], ...]


def lists_of(answer: Answer) -> Iterator[NamedList]:
    """Those that are not empty, what needs a decision first."""
    report, found = answer.report, answer.report.lists
    bare = [(each.device, "no plan, and nobody signed that none is needed") for each in report.coverage.uncovered]
    used = [(each.device, _used(each)) for each in report.arrivals if each.used_on is not None]
    waiting = [(each.device, f"came on {day_in_words(each.arrived_on)}") for each in report.arrivals
               if each.inspected_on is None]  # fmt: skip
    every = (
        ("Without a plan", "Devices with neither a plan nor a signed statement that none is needed.", bare),
        ("In doubt", "Read with an instrument that was found out of tolerance later; a named person decides.",
         [(each.device, _doubted(each)) for each in report.doubts]),
        ("Used before the incoming inspection", "Measured apart from the headline.", used),
        ("Came in and not inspected yet", "An incoming inspection comes before first use.", waiting),
        ("Met, with a gap", "Further from the inspection before than the interval and the days after it allow.",
         _told(found.gaps, _gap)),
        ("Met early", "Done before the window opened.", _told(found.early, _done)),
        ("Entered late", "Counted, but entered more working days after the work than the setting allows.",
         _told(found.late_entered, _entered)),
        ("Moved", "Came to another site inside the window; counted where it stood on the due date.",
         _told(found.moved, lambda each: f"moved on {_day(each.moved_on)}")),
        ("Ended", "Left the inventory by the due date; in neither count.",
         _told(found.ended, lambda each: f"left on {_day(each.left_on)}")),
        ("Suspended", "Sealed and in hand before the window opened; counted apart.",
         _told(found.suspended, lambda each: f"sealed since {_day(each.sealed_on)}")),
        ("Withdrawn", "Called for by a plan that no longer does.", _told(found.withdrawn, lambda each: "withdrawn")),
    )  # fmt: skip
    for heading, meaning, lines in every:
        if lines:
            yield NamedList(heading, meaning, tuple(_line(answer, device, said) for device, said in lines))


def _line(answer: Answer, device: int, said: str) -> tuple[int, str, str, str]:
    place = answer.places[device]
    label = answer.report.labels[device]
    name = f"{place.device_class} {label.tag or label.serial}".strip()
    return device, name, str(place), said


def _told(listed: tuple[Listed, ...], tell: Callable[[Listed], str]) -> list[tuple[int, str]]:
    return [(each.device, f"due {day_in_words(each.due_on)}: {tell(each)}") for each in listed]


def _day(day: dt.date | None) -> str:
    return day_in_words(day) if day is not None else "an unknown day"


def _done(each: Listed) -> str:
    return f"done on {_day(each.completed_on)}"


def _entered(each: Listed) -> str:
    return f"done on {_day(each.completed_on)}, entered on {_day(each.recorded_on)}"


def _gap(each: Listed) -> str:
    if each.completed_on is None or each.previous_on is None:
        return "done"
    days = (each.completed_on - each.previous_on).days
    return f"{days} days after {_day(each.previous_on)}; {_day(each.latest_on)} at the latest would have kept it"


def _doubted(each: Doubt) -> str:
    steps = " and ".join(each.steps)
    return f"{steps}, read on {_day(each.performed_on)}; the instrument was found out on {_day(each.found_on)}"


def _used(each: Arrival) -> str:
    inspected = f"inspected on {_day(each.inspected_on)}" if each.inspected_on else "not inspected yet"
    return f"came on {_day(each.arrived_on)}, in use on {_day(each.used_on)}, {inspected}"
