"""The sentences in which a compliance report is read."""

import datetime as dt
from collections.abc import Callable, Iterator, Mapping

from pmcore.engines.compliance import Share, Tally
from pmcore.engines.vocabulary import Counted
from pmcore.queries.arrivals import Arrival
from pmcore.queries.compliance import ComplianceReport
from pmcore.queries.device_labels import DeviceLabel
from pmcore.queries.doubts import Doubt
from pmcore.queries.figure_changes import FigureChange
from pmcore.queries.standing_lists import Listed

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
_MISSED_AS = {Counted.REASON_RECORDED: "a reason is recorded", Counted.NO_REASON: "no reason is recorded"}
_NOT_COUNTED = "not in the figure"
_COLUMNS = ("due", "met", "late", "reason", "no reason", "%", "open", "ahead", "suspended", "ended")


def period_words(starts_on: dt.date, ends_on: dt.date) -> str:
    """`in September 2026` for a whole month, else `from … to …`."""
    next_month = (starts_on.replace(day=1) + dt.timedelta(days=32)).replace(day=1)
    if starts_on.day == 1 and ends_on == next_month - dt.timedelta(days=1):
        return f"in {_MONTHS[starts_on.month - 1]} {starts_on.year}"
    return f"from {starts_on} to {ends_on}"


def sentence(report: ComplianceReport) -> str:
    """What matters, in one sentence with numerator and denominator."""
    tally, period = report.tally, period_words(report.asked.starts_on, report.asked.ends_on)
    if tally.due == 0:
        return f"No inspection fell due whose window closed {period}."
    rest = []
    if tally.met_late:
        rest.append(f"{tally.met_late} done late")
    if tally.reason_recorded:
        rest.append(f"{tally.reason_recorded} not done with a reason recorded")
    if tally.no_reason:
        rest.append(f"{tally.no_reason} not done and no reason recorded")
    tail = f"; {', '.join(rest)}" if rest else ""
    what = "inspection whose window" if tally.due == 1 else "inspections whose windows"
    were = "was" if tally.met == 1 else "were"
    return f"Of {tally.due:,} {what} closed {period}, {tally.met:,} {were} met ({tally.share}){tail}."


def share_words(share: Share) -> str:
    return f"{share.numerator:,} of {share.denominator:,} ({share})"


def table(report: ComplianceReport) -> Iterator[str]:
    """One line a group, and the total."""
    lines = [(group.label, group.tally) for group in report.groups] + [("all", report.tally)]
    width = max(len(label) for label, _ in lines)
    yield " " * width + "".join(f"{column:>11}" for column in _COLUMNS)
    for label, tally in lines:
        yield f"{label:<{width}}" + "".join(f"{cell:>11}" for cell in _cells(tally))


def _cells(tally: Tally) -> tuple[str, ...]:
    percent = tally.share.percent
    counts = (tally.due, tally.met, tally.met_late, tally.reason_recorded, tally.no_reason)
    apart = (tally.open, tally.ahead, tally.suspended, tally.ended)
    return (*map(str, counts), "no data" if percent is None else str(percent), *map(str, apart))


def lists(report: ComplianceReport) -> Iterator[tuple[str, list[str]]]:
    """Each list by its heading, with a sentence for each device in it; empty ones are left out."""
    found, labels = report.lists, report.labels
    uncovered = [str(labels[each.device]) for each in report.coverage.uncovered]
    used = [_used(each, labels) for each in report.arrivals if each.used_on is not None]
    waiting = [f"{labels[each.device]}, since {each.arrived_on}" for each in report.arrivals if not each.inspected_on]
    doubted = [_doubted(each, labels) for each in report.doubts]
    yield from _filled(
        ("Neither a plan nor a signed statement that none is needed", uncovered),
        ("High-risk and life-support inspections not done", _lines(found.high_risk_misses, labels, _missed)),
        ("Met early, before the window opened", _lines(found.early, labels, _done)),
        ("Entered late", _lines(found.late_entered, labels, _entered)),
        ("Met, but too long after the inspection before", _lines(found.gaps, labels, _gap)),
        ("Came to another site inside the window", _lines(found.moved, labels, lambda each: f"on {each.moved_on}")),
        ("Ended: left the inventory by the due date", _lines(found.ended, labels, lambda each: f"on {each.left_on}")),
        ("Suspended: sealed before the window opened", _lines(found.suspended, labels, _sealed)),
        ("Used before the incoming inspection", used),
        ("In doubt: read with an instrument that was found out of tolerance", doubted),
        ("Came in and not inspected yet", waiting),
    )


def _filled(*each: tuple[str, list[str]]) -> Iterator[tuple[str, list[str]]]:
    return (pair for pair in each if pair[1])


def _lines(listed: tuple[Listed, ...], labels: Mapping[int, DeviceLabel], tell: Callable[[Listed], str]) -> list[str]:
    return [f"{labels[each.device]}, due {each.due_on}: {tell(each)}" for each in listed]


def _missed(each: Listed) -> str:
    return f"{each.risk_class.replace('_', ' ')}, closed {each.closes_on}, {_MISSED_AS[each.counted]}"


def _done(each: Listed) -> str:
    return f"done {each.completed_on}"


def _entered(each: Listed) -> str:
    return f"done {each.completed_on}, entered {each.recorded_on}"


def _sealed(each: Listed) -> str:
    return f"since {each.sealed_on}"


def _gap(each: Listed) -> str:
    if each.completed_on is None or each.previous_on is None:
        return "done"
    days = (each.completed_on - each.previous_on).days
    return f"{days} days after {each.previous_on}, by {each.latest_on} at the latest"


def _doubted(each: Doubt, labels: Mapping[int, DeviceLabel]) -> str:
    return f"{labels[each.device]}: {', '.join(each.steps)} on {each.performed_on}, found on {each.found_on}"


def _used(each: Arrival, labels: Mapping[int, DeviceLabel]) -> str:
    inspected = f"inspected {each.inspected_on}" if each.inspected_on else "not inspected yet"
    return f"{labels[each.device]}: here since {each.arrived_on}, in use on {each.used_on}, {inspected}"


def change(each: FigureChange) -> str:
    """One due inspection that counts otherwise, and why."""
    was, becomes = (_NOT_COUNTED if word is None else word.replace("_", " ") for word in (each.was, each.becomes))
    entries = ", ".join(
        f"entry {entry.seq} of {entry.at:%Y-%m-%d} ({entry.kind.replace('_', ' ')})" for entry in each.entries or ()
    )
    return f"{each.device}: was {was}, is {becomes}; {entries}"
