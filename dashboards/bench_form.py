"""The sheet as it was filled in: every field keeps what was typed, with what is wrong beside it."""

import datetime as dt
import re
import uuid
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from django.http import QueryDict

from dashboards.bench_findings import FindingTyped
from dashboards.bench_words import verdict
from dashboards.fields import Field, caution_of, moment_of
from pmcore.engines.readings import Side
from pmcore.engines.vocabulary import DateCodeState, EnergySource, Outcome, StepKind
from pmcore.queries.bench_sheet import BenchSheet, BenchStep
from pmcore.queries.columns import Fault, take_quantity
from pmcore.queries.parameters import a_day
from pmcore.services.findings import FindingLine
from pmcore.services.readings import ReadingLine
from pmcore.services.requests import Request

_NUMBERS = ("as_found", "as_found_second", "as_left", "as_left_second")
_OF_A_STEP = ("outcome", *_NUMBERS, "instrument", "date_code", "unreadable", "note")
_PAIRS = {StepKind.ANGLE_PAIR, StepKind.TRAVEL}
_MEASURED = {StepKind.MEASURE, StepKind.COUNT} | _PAIRS
_DONE = {Outcome.PASSED, Outcome.FAILED}
_LONGEST_NOTE = 2_000
_LONGEST_SHOWN = 20
_TIME = re.compile(r"[0-9]{2}:[0-9]{2}(:[0-9]{2})?")
_PIECES = "pieces"
CLEANED = "cleaned"  # the step of a sheet that asks whether the device was decontaminated

_Value = TypeVar("_Value")


@dataclass
class StepTyped:
    """One step with what was typed for it."""

    step: BenchStep
    typed: Mapping[str, str] = field(default_factory=dict)
    error: str = ""

    @property
    def outcome(self) -> str:
        return self.typed.get("outcome", "")


@dataclass
class BenchTyped:
    """The whole form. `errors` by field; those of steps and findings stand with them. `said`: what is to be told
    besides; `caution`: that words look like a patient, told once: `looked`."""

    steps: list[StepTyped]
    fields: dict[str, str]
    key: str
    errors: dict[str, str] = field(default_factory=dict)
    said: str = ""
    findings: list[FindingTyped] = field(default_factory=list)
    caution: str = ""
    looked: bool = False
    goes_on_at_adding: bool = False

    @property
    def wrong(self) -> int:
        return (
            len(self.errors)
            + sum(bool(each.error) for each in self.steps)
            + sum(bool(one.error) for each in self.findings for one in each.fields)
        )

    def warns(self, words: Iterable[Field]) -> bool:
        """Do they look like a patient, and was that not said before?"""
        self.caution = "" if self.looked else caution_of(words)
        self.looked = self.looked or bool(self.caution)
        return bool(self.caution)

    def words_of_the_sheet(self) -> list[Field]:
        """What somebody wrote while they filled it in."""
        notes = [
            Field("", f"Note to “{each.step.prompt}”", values=(each.typed.get("note", ""),)) for each in self.steps
        ]
        found = [one for each in self.findings for one in each.fields]
        return [*notes, *found, self.words("note", "Note")]

    def words(self, name: str, label: str) -> Field:
        return Field(name, label, values=(self.fields[name],))


@dataclass(frozen=True, slots=True)
class Work:
    """What the form says was done."""

    started_at: dt.datetime
    ended_at: dt.datetime
    readings: tuple[ReadingLine, ...]
    decontaminated: bool | None
    note: str | None
    re_anchor: bool
    findings: tuple[FindingLine, ...]


def blank(sheet: BenchSheet, at: dt.datetime) -> BenchTyped:
    """Begun now, on the clock of the site."""
    here = at.astimezone(ZoneInfo(sheet.time_zone))
    fields = {"day": here.date().isoformat(), "started": f"{here:%H:%M}"}
    return BenchTyped([StepTyped(step, _usual(step, sheet)) for step in _asked(sheet)], fields, uuid.uuid4().hex)


def typed(sheet: BenchSheet, sent: QueryDict) -> BenchTyped:
    """Everything that was sent, kept."""
    names = (
        "day", "started", "ended", "decontaminated", "note", "re_anchor", "attempt", "attempt_note", "reason",
        "reason_note",
    )  # fmt: skip
    fields = {name: sent.get(name, "") for name in names}
    steps = [StepTyped(step, _of_step(step, sent)) for step in _asked(sheet, sent)]
    return BenchTyped(steps, fields, sent.get("key") or uuid.uuid4().hex, looked=sent.get("looked") == "yes")


def request_of(sent: QueryDict) -> Request:
    """The same form sent twice is one request. Raises BadValue for a key that cannot be kept."""
    content = {name: values for name, values in sent.lists() if name not in {"csrfmiddlewaretoken", "key"}}
    return Request.of(sent.get("key", ""), content)


def work_of(form: BenchTyped, sheet: BenchSheet, at: dt.datetime) -> Work | None:
    """None: something is wrong, and the form says what."""
    started, ended = _moments(form, sheet.time_zone, at)
    lines = [line for each in form.steps if (line := _line(each, sheet)) is not None]
    if not lines and not form.wrong:
        form.errors["steps"] = "Answer at least one step."
    if len(form.fields["note"]) > _LONGEST_NOTE:
        form.errors["note"] = f"A note has at most {_LONGEST_NOTE:,} letters."
    re_anchor = _re_anchor(form, sheet)
    on = None if started is None else started.astimezone(ZoneInfo(sheet.time_zone)).date()
    answered = {each.step.step.key for each in form.steps if each.outcome}
    found = [each.line(on, answered) for each in form.findings]
    if form.wrong or started is None or ended is None:
        return None
    note = form.fields["note"].strip() or None
    return Work(started, ended, tuple(lines), _clean(form), note, re_anchor, tuple(filter(None, found)))


def look_through(form: BenchTyped, sheet: BenchSheet, at: dt.datetime) -> None:
    """Says what does not fit so far; what was not come to yet is not wrong."""
    work_of(form, sheet, at)
    for each in form.steps:
        if not each.outcome:
            each.error = ""
            sides = _sides(each, filter(None, map(each.typed.get, _NUMBERS)))
            _check_verdict(each, Outcome.PASSED, [] if each.error else sides)
    for finding in form.findings:
        finding.forgive()
    for name in ("steps", "re_anchor"):
        form.errors.pop(name, None)
    if not form.wrong:
        form.said = "What you typed so far fits. Nothing is recorded before you press Record."


def asks_for_cleaning(form: BenchTyped) -> bool:
    """Does no line that is to be answered say whether the device was decontaminated?"""
    return all(each.step.step.key != CLEANED for each in form.steps)


def _clean(form: BenchTyped) -> bool | None:
    """By its line of the sheet, if there is one in this session, or by the question beside it."""
    said = next((each.outcome for each in form.steps if each.step.step.key == CLEANED), form.fields["decontaminated"])
    return {"yes": True, Outcome.PASSED: True, "no": False, Outcome.FAILED: False}.get(said)


def _re_anchor(form: BenchTyped, sheet: BenchSheet) -> bool:
    """Whoever works too early chooses, where there is a choice."""
    if sheet.early is None or not sheet.early.can_re_anchor:
        return False
    if form.fields["re_anchor"] not in {"yes", "no"}:
        form.errors["re_anchor"] = "Say whether the plan is to count from today."
    return form.fields["re_anchor"] == "yes"


def _asked(sheet: BenchSheet, sent: QueryDict | None = None) -> Iterable[BenchStep]:
    """Steps that were not answered before, and those that the form holds."""
    return (
        step
        for step in sheet.steps
        if step.done_on is None or (sent is not None and f"{step.step.key}:outcome" in sent)
    )


def _usual(step: BenchStep, sheet: BenchSheet) -> dict[str, str]:
    """Where there is one instrument to choose, it is chosen."""
    usable = [each for each in sheet.instruments if each.good_until is not None]
    return {"instrument": str(usable[0].instrument)} if step.step.instrument_wanted and len(usable) == 1 else {}


def _of_step(step: BenchStep, sent: QueryDict) -> dict[str, str]:
    return {name: sent.get(f"{step.step.key}:{name}", "").strip() for name in _OF_A_STEP}


def _moments(form: BenchTyped, zone: str, at: dt.datetime) -> tuple[dt.datetime | None, dt.datetime | None]:
    """From the clock of the site; work of today without an end ended now."""
    fields, today = form.fields, at.astimezone(ZoneInfo(zone)).date()
    day = _read(form, "day", fields["day"], a_day, "")
    started = _read(form, "started", fields["started"], _a_time, "Say when it began, as 09:30.")
    ended = None
    if fields["ended"]:
        ended = _read(form, "ended", fields["ended"], _a_time, "Say when it ended, as 10:15.")
    elif day is not None and day < today:
        form.errors["ended"] = "Say when it ended on that day: only work of today can end now."
    if day is not None and day > today:
        form.errors["day"] = "That day has not come yet."
    if day is None or started is None or day > today:
        return None, None
    begins = _moment(form, "started", day, started, zone)
    ends = at if ended is None else _moment(form, "ended", day, ended, zone)
    if begins is not None and begins > at:
        form.errors.setdefault("started", "That lies ahead; say when it began.")
    elif begins is not None and ends is not None and ends < begins:
        form.errors.setdefault("ended", "It ended before it began.")
    elif ends is not None and ends > at:
        form.errors.setdefault("ended", "That lies ahead; leave it empty for now.")
    return begins, ends


def _a_time(text: str) -> dt.time:
    if not _TIME.fullmatch(text):
        raise ValueError(text)
    return dt.time.fromisoformat(text)


def _read(form: BenchTyped, name: str, text: str, read: Callable[[str], _Value], advice: str) -> _Value | None:
    """No advice: the words of the error say enough."""
    try:
        return read(text)
    except ValueError as wrong:
        form.errors.setdefault(name, advice or str(wrong))
        return None


def _moment(form: BenchTyped, name: str, day: dt.date, time: dt.time, zone: str) -> dt.datetime | None:
    """None where the clocks were put forward over that time."""
    moment = moment_of(day, time, zone)
    if moment is None:
        form.errors.setdefault(name, "The clocks were put forward then; there was no such time.")
    return moment


def _line(each: StepTyped, sheet: BenchSheet) -> ReadingLine | None:
    """The answer to a step; None: none was given, or it is wrong."""
    step, said = each.step, each.typed
    if not said.get("outcome"):
        if step.step.mandatory or any(said.get(name) for name in _NUMBERS):
            each.error = "Say how it went, or that it was not tested."
        return None
    if said["outcome"] not in set(Outcome):
        each.error = "Choose one of the answers."
        return None
    outcome = Outcome(said["outcome"])
    numbers = _numbers(each, outcome)
    _check_rest(each, outcome, {str(one.instrument) for one in sheet.instruments})
    if each.error:
        return None
    unit = (step.unit or _PIECES) if numbers else None
    code, code_state = _date_code(said)
    return ReadingLine(
        step=step.step.key,
        outcome=outcome,
        energy_source=EnergySource(step.step.energy_source) if step.step.energy_source else None,
        unit=unit,
        instrument=int(said["instrument"]) if said.get("instrument") and outcome in _DONE else None,
        date_code=code,
        date_code_state=code_state,
        note=said.get("note") or None,
        **numbers,
    )


def _numbers(each: StepTyped, outcome: Outcome) -> dict[str, Any]:
    """What was read, by column; the worst of them is said where it does not go with the outcome."""
    kind = each.step.step.kind
    given = {name: each.typed.get(name, "") for name in _NUMBERS if each.typed.get(name)}
    if kind not in _MEASURED or outcome not in _DONE:
        return {}
    wanted = ("as_found", "as_found_second") if kind in _PAIRS else ("as_found",)
    if any(name not in given for name in wanted):
        each.error = "Say what was found." if len(wanted) == 1 else "Say both numbers that were found."
        return {}
    sides = _sides(each, given.values())
    if not each.error:
        _check_verdict(each, outcome, sides)
    return {} if each.error else given


def _sides(each: StepTyped, texts: Iterable[str]) -> list[tuple[Decimal, Side]]:
    """Each number, and on which side of its limits it lies."""
    sides = []
    for text in texts:
        try:
            number = Decimal(take_quantity(text))
        except Fault:
            said = text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}…"
            each.error = f"{said!r} is no number that can be kept; write it as 0.12, with at most nine decimals."
            break
        sides.append((number, each.step.bounds.side(number)))
    return sides


def _check_verdict(each: StepTyped, outcome: Outcome, sides: list[tuple[Decimal, Side]]) -> None:
    beyond = next(((number, side) for number, side in sides if side is not Side.WITHIN), None)
    if outcome is Outcome.PASSED and beyond is not None:
        each.error = f"{verdict(each.step, *beyond)}: record it as failed."
    elif outcome is Outcome.FAILED and beyond is None and each.step.bounds.limited and not each.typed.get("note"):
        each.error = f"{verdict(each.step, *sides[0])}: record it as passed, or say in its note why it fails."


def _check_rest(each: StepTyped, outcome: Outcome, instruments: Collection[str]) -> None:
    said, step = each.typed, each.step.step
    if each.error:
        return
    if outcome in _DONE and step.instrument_wanted and not said.get("instrument"):
        each.error = "Say with which instrument it was read."
    elif said.get("instrument") and said["instrument"] not in instruments:
        each.error = "Choose one of the instruments."
    elif (
        outcome in _DONE
        and step.kind == StepKind.DATE_CODE
        and not said.get("date_code")
        and not said.get("unreadable")
    ):
        each.error = "Say the date code, or that it cannot be read."
    elif len(said.get("note", "")) > _LONGEST_NOTE:
        each.error = f"A note has at most {_LONGEST_NOTE:,} letters."


def _date_code(said: Mapping[str, str]) -> tuple[str | None, DateCodeState | None]:
    if said.get("unreadable"):
        return None, DateCodeState.UNREADABLE
    code = said.get("date_code")
    return (code, DateCodeState.READ) if code else (None, None)
