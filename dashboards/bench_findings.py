"""The findings of a sheet: sets of fields that are added and removed while somebody fills it in."""

import datetime as dt
import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from django.http import QueryDict

from dashboards.fields import Field, choices_of
from dashboards.finding_form import finding_fields, line_of, report_field
from pmcore.queries.bench_sheet import BenchStep
from pmcore.queries.device_faults import DeviceFaults, FindingChoices
from pmcore.services.findings import FindingLine

MOST = 10
NUMBER = "finding"  # the hidden field that says which sets there are
_NUMBER = re.compile(r"[1-9]|10")  # up to MOST


@dataclass(frozen=True)
class FindingTyped:
    """One set of fields. Its number stays with it when others are removed."""

    number: int
    fields: list[Field]

    @property
    def prefix(self) -> str:
        return f"{NUMBER}:{self.number}:"

    @property
    def wrong(self) -> bool:
        return any(each.error for each in self.fields)

    def of(self, name: str) -> Field | None:
        return next((each for each in self.fields if each.name == f"{self.prefix}{name}"), None)

    def judge(self) -> None:
        for each in self.fields:
            each.judge()

    def line(self, on: dt.date | None, answered: Collection[str]) -> FindingLine | None:
        """None: something is wrong, and the fields say what. `answered`: the steps of the sheet that are."""
        self.judge()
        line = line_of(self.fields, self.prefix)
        if line is None:
            return None
        step, training_on = self.of("step"), self.of("training_on")
        if step is not None and step.value and step.value not in answered:
            step.error = "The sheet does not say how that step went: answer it, or leave this empty."
        if training_on is not None and on is not None and line.training_on is not None and line.training_on > on:
            training_on.error = "The training was not held yet on the day of the inspection."
        if self.wrong:
            return None
        report = self.of("fault_report")
        return replace(line, step=(step and step.value) or None, fault_report=report.number if report else None)

    def forgive(self) -> None:
        """What was not come to yet is not wrong."""
        for each in self.fields:
            if not each.value or each is self.of("step"):
                each.error = ""


def numbers_in(sent: QueryDict) -> list[int]:
    """Of the sets that a form holds."""
    return list(dict.fromkeys(int(text) for text in sent.getlist(NUMBER) if _NUMBER.fullmatch(text)))


def next_number(numbers: Collection[int]) -> int | None:
    """Of a further set; None: there are as many as a sheet takes."""
    return None if len(numbers) >= MOST else next(each for each in range(1, MOST + 1) if each not in numbers)


def typed_findings(
    numbers: Iterable[int], sent: QueryDict, steps: Sequence[BenchStep], choices: FindingChoices, faults: DeviceFaults
) -> list[FindingTyped]:
    found = [a_finding(number, steps, choices, faults) for number in numbers]
    for each in found:
        for one in each.fields:
            one.keep(sent)
    return found


def a_finding(number: int, steps: Sequence[BenchStep], choices: FindingChoices, faults: DeviceFaults) -> FindingTyped:
    """Empty, but for a report that is the only open one."""
    prefix = f"{NUMBER}:{number}:"
    step = Field("step", "Which step showed it?", "select", choices_of((each.step.key, each.prompt) for each in steps))
    before = [step, report_field(faults)]
    for each in before:
        each.name = f"{prefix}{each.name}"
    mode, *rest = finding_fields(choices, faults, prefix)
    return FindingTyped(number, [mode, *before, *rest])
