"""The sentences of the bench."""

import datetime as dt
from decimal import Decimal

from dashboards.words import day_in_words, hold_in_words, in_words, sentence, words_of
from pmcore.engines.readings import Bounds, Side
from pmcore.engines.vocabulary import DueState, HoldReason, InspectionKind, Outcome, StepKind
from pmcore.queries.bench_sheet import BenchSheet, BenchStep
from pmcore.queries.own_work import OwnWork
from pmcore.queries.recorded import FailedStep, FindingRecorded, RecordedWork
from pmcore.queries.would_meet import DueMet

_UNITS = {"ohm": "Ω", "uA": "µA", "degC": "°C"}
_SOUND = ("Sound", "Fault found")
_ANSWERS = {
    StepKind.CONFIRM: ("Yes", "No"),
    StepKind.LOOK: _SOUND,
    StepKind.FUNCTION: _SOUND,
}
_PASS = ("Pass", "Fail")
WHEN = {
    InspectionKind.AFTER_REPAIR: "after a repair",
    InspectionKind.ON_REQUEST: "because somebody asked for it",
    InspectionKind.INCOMING: "because it came in",
}
KINDS = {
    InspectionKind.AFTER_REPAIR: "After a repair",
    InspectionKind.ON_REQUEST: "Somebody asked for it",
    InspectionKind.INCOMING: "It came in",
}
USUAL_CAUTIONS = (
    "decontaminate first and never test on a patient; support the load; isolate mains and batteries; relieve hydraulic "
    "pressure; keep hands clear of pinch points"
)


def unit_in_words(unit: str | None) -> str:
    return _UNITS.get(unit or "", unit or "")


def answers(step: BenchStep) -> list[tuple[Outcome, str]]:
    """The outcomes that may be chosen, with their words."""
    passed, failed = _ANSWERS.get(StepKind(step.step.kind), _PASS)
    found = [(Outcome.PASSED, passed), (Outcome.FAILED, failed)]
    if step.step.not_applicable_allowed:
        found.append((Outcome.NOT_APPLICABLE, "Not applicable"))
    return [*found, (Outcome.NOT_TESTED, "Not tested")]


def limit_in_words(step: BenchStep) -> str:
    """`At most 0.30 Ω (protective earth, 2026 edition).`"""
    if step.step.expected_count is not None:
        return f"{step.step.expected_count} are wanted."
    said = _bounds(step.bounds, unit_in_words(step.unit))
    return f"{said} ({step.limit or 'as this sheet says'})." if said else ""


def _bounds(bounds: Bounds, unit: str) -> str:
    low, high = bounds.low, bounds.high
    if low is not None and high is not None and bounds.low_included and bounds.high_included:
        return f"From {low} to {high} {unit}".strip()
    parts = []
    if low is not None:
        parts.append(f"{'at least' if bounds.low_included else 'above'} {low}")
    if high is not None:
        parts.append(f"{'at most' if bounds.high_included else 'below'} {high}")
    said = f"{' and '.join(parts)} {unit}".strip()
    return said[:1].upper() + said[1:]


def hint(step: BenchStep) -> str:
    """Limit, what was read the last time, and how long it takes."""
    parts = [limit_in_words(step)]
    if step.last_time is not None:
        number, _, unit = step.last_time.partition(" ")
        parts.append(f"Last time {number} {unit_in_words(unit)}".strip() + ".")
    if step.minutes:
        parts.append(f"{step.minutes} minute{'' if step.minutes == 1 else 's'}.")
    if not step.step.mandatory:
        parts.append("May be left out.")
    return " ".join(filter(None, parts))


def verdict(step: BenchStep, number: Decimal, side: Side) -> str:
    """`1.2 Ω is above the limit 0.30 Ω`."""
    unit = unit_in_words(step.unit)
    said = f"{number} {unit}".strip()
    if side is Side.WITHIN:
        return f"{said} is within the limits"
    if step.step.expected_count is not None:
        return f"{number} is not the {step.step.expected_count} that are wanted"
    limit = step.bounds.low if side is Side.BELOW else step.bounds.high
    return f"{said} is {side} the limit {limit} {unit}".strip()


def headline(sheet: BenchSheet, today: dt.date) -> str:
    """What matters about the device now."""
    item = sheet.what.item
    if item is None:
        what = f"Inspect it {WHEN[sheet.what.kind]}, by “{sheet.what.procedure_name}”."
        return f"Held since {day_in_words(sheet.holds[0].placed_on)}. {what}" if sheet.holds else what
    by = day_in_words(item.closes_on)
    if item.state is DueState.OVERDUE:
        when = f"Overdue: its window closed on {by}."
    elif item.state is DueState.AHEAD:
        when = f"Its window opens on {day_in_words(item.opens_on)} and closes on {by}."
    elif item.state is DueState.OPEN:
        left = (item.closes_on - today).days
        when = f"Its window closes today, {by}." if left == 0 else f"To be done by {by}."
    else:
        done = f" on {day_in_words(item.completed_on)}" if item.completed_on else ""
        return f"This inspection is {words_of(item.state)}{done}."
    if sheet.holds:
        return f"Held since {day_in_words(sheet.holds[0].placed_on)}. {when}"
    return when


def second(sheet: BenchSheet) -> str:
    last = sheet.last
    said = "No complete inspection by this procedure is recorded yet."
    if last is not None:
        ended = "; something failed then" if last.failed else ""
        said = f"Last complete inspection on {day_in_words(last.performed_on)}{ended}."
    takes = f" The sheet takes {sheet.minutes} minutes." if sheet.minutes else ""
    item = sheet.what.item
    if item is None:
        calls = "" if sheet.what.meets else "No plan calls for it now. "
        return f"{calls}{said}{takes}"
    return f"{item.procedure_name}, due on {day_in_words(item.due_on)}. {said}{takes}"


def meets_in_words(due: DueMet) -> str:
    """What the sheet counts for though it was not chosen for it."""
    day, closes = day_in_words(due.due_on), day_in_words(due.closes_on)
    if due.state is DueState.OVERDUE:
        return f"This meets the inspection that was due on {day}; its window closed on {closes}."
    if due.state is DueState.AHEAD:
        opens = day_in_words(due.opens_on)
        return f"This meets the inspection due on {day}, early; its window opens on {opens}."
    return f"This meets the inspection due on {day}; its window closes on {closes}."


def _met(due: DueMet, performed_on: dt.date) -> str:
    day = day_in_words(due.due_on)
    if performed_on > due.closes_on:
        return f"It met the inspection that was due on {day}, after its window closed on {day_in_words(due.closes_on)}."
    if performed_on < due.opens_on:
        return f"It met the inspection due on {day}, early; its window opens on {day_in_words(due.opens_on)}."
    return f"It met the inspection due on {day}, inside its window."


def early_in_words(sheet: BenchSheet) -> tuple[str, str] | None:
    """What work before the window is good for: in short, and what follows."""
    early, item = sheet.early, sheet.what.item
    if early is None or item is None:
        return None
    window = f"from {day_in_words(item.opens_on)} to {day_in_words(item.closes_on)}"
    if early.counts:
        return "Done today it counts, early.", "The next one is then counted from today."
    if early.counts_for is not None:
        older = day_in_words(early.counts_for)
        return f"Done today it counts for the one due on {older}.", f"This one stays to be done, {window}."
    if early.can_re_anchor:
        short = "Done today it counts only if the plan counts from today on."
        return short, f"Otherwise its days stay as they are, and it is done again {window}."
    return "Done today it counts for nothing: it is too early.", f"It has to be done again, {window}."


def cautions_in_words(sheet: BenchSheet) -> str:
    """Those of the sheet one after another, or the usual ones."""
    said = (caution.rstrip(".; ") for caution in sheet.cautions)
    return "; ".join(each[:1].lower() + each[1:] for each in said) or USUAL_CAUTIONS


def own_headline(work: OwnWork, today: dt.date) -> str:
    count, more = len(work.today), len(work.week)
    later = len(work.later)
    if count == 0 and more == 0 and later == 0:
        return "Nothing is given to you."
    if count == 0 and more == 0:
        are = "inspection is" if later == 1 else "inspections are"
        return f"You have nothing left this week; {in_words(later)} {are} given to you for later."
    said = f"You have {in_words(count)} inspection{'' if count == 1 else 's'} today"
    return f"{said}, and {in_words(more)} more this week." if more else f"{said}."


def own_second(work: OwnWork) -> str:
    if work.at_sites is None:
        return "You see the inspections that were given to you."
    page = work.at_sites
    if page.all_of_them == 0:
        return "Nothing else is open at your sites."
    late = f", {in_words(page.overdue)} of them overdue" if page.overdue else ""
    one = page.all_of_them == 1
    return f"At your sites {in_words(page.all_of_them)} {'is' if one else 'are'} open or overdue{late}."


def recorded_headline(work: RecordedWork) -> str:
    item, name = work.item, work.name
    on = day_in_words(work.performed_on)
    if item is None:
        failed = "something failed" if work.failed else "nothing failed"
        return f"Recorded: {name} was inspected on {on}, {WHEN[work.kind]}; {failed}."
    if not work.complete:
        return f"Recorded for {on}. {_count(len(work.still_open))} of {name} still to be done."
    if item.state is DueState.MET and work.performed_on < item.opens_on:
        return f"Recorded: {name} was inspected on {on}, before its window opened. It counts as met, early."
    if item.state is DueState.MET:
        return f"Recorded: {name} was inspected on {on}, inside its window."
    if item.state is DueState.MET_LATE:
        return f"Recorded: {name} was inspected on {on}, after its window closed on {day_in_words(item.closes_on)}."
    if item.state is DueState.AHEAD:
        again = f"The one due on {day_in_words(item.due_on)} is still to be done, from {day_in_words(item.opens_on)} on"
        return f"Recorded: {name} was inspected on {on}. {again}."
    due = f"the inspection due on {day_in_words(item.due_on)} is {words_of(item.state)}"
    return f"Recorded: {name} was inspected on {on}; {due}."


def found_in_words(step: FailedStep) -> str:
    """`Read 1.2 Ω.`"""
    if step.as_found is None:
        return ""
    return f"Read {step.as_found} {unit_in_words(step.unit)}".strip() + "."


def finding_in_words(finding: FindingRecorded) -> tuple[str, str]:
    """What is wrong, and what is thought of it."""
    where = words_of(finding.subsystem)
    thought = f"It sits in {where}: {words_of(finding.severity)}, cause {words_of(finding.cause)}."
    return sentence(finding.mode or "The words were taken out"), thought


def _count(count: int) -> str:
    return "One step" if count == 1 else f"{in_words(count).capitalize()} steps"


def follows(work: RecordedWork) -> list[str]:
    """What follows from it, a sentence each."""
    said = []
    if work.failed and HoldReason.INSPECTION_FAILED not in work.holds:
        said.append("The device was on hold for a failed inspection already, and stays so.")
    if work.holds:
        reasons = ", and because ".join(dict.fromkeys(map(hold_in_words, work.holds)))
        count = len(work.holds)
        placed = "A hold was" if count == 1 else f"{in_words(count).capitalize()} holds were"
        said.append(f"{placed} placed because {reasons}. Nobody may use the device until it is released.")
    elif work.item is None and work.standing:
        reasons = ", and because ".join(dict.fromkeys(map(hold_in_words, work.standing)))
        said.append(f"Nobody may use it until a release is signed: it is held because {reasons}.")
    if work.item is None:
        said.extend(_met(each, work.performed_on) for each in work.met)
        if not work.complete:
            count = len(work.still_open)
            said.append(f"{_count(count)} of the sheet {'is' if count == 1 else 'are'} not answered yet.")
        if not work.met:
            return said
    following = work.following
    if following is not None and work.complete:
        said.append(
            f"The next one is due on {day_in_words(following.due_on)}, "
            f"window {day_in_words(following.opens_on)} to {day_in_words(following.closes_on)}."
        )
    elif work.complete:
        said.append("The plan calls for no further one yet; the nightly work adds it in time.")
    return said
