"""The fields of a finding: at the bench, several to a sheet, and by itself."""

from collections.abc import Sequence

from dashboards.fields import Field, choices_of
from dashboards.words import day_in_words, short_day, words_of
from pmcore.engines.vocabulary import Cause, Discovery, FailureKind, Severity, Subsystem
from pmcore.queries.device_faults import DeviceFaults, FindingChoices
from pmcore.queries.fault_pages import FindingListed
from pmcore.services.findings import FIRST_TRAINING, HOLDS, FindingLine

FAILURES = {
    FailureKind.FUNCTIONAL: "It could not do its work",
    FailureKind.POTENTIAL: "Found before it failed",
    FailureKind.COSMETIC: "Looks only",
    FailureKind.NONE: "No failure",
}
SEVERITIES = {
    Severity.COULD_HARM: "Could harm somebody",
    Severity.STOPS_USE: "Stops its use",
    Severity.LIMITS_USE: "Limits its use",
    Severity.MINOR: "Minor",
}
DISCOVERIES = {
    Discovery.IN_USE: "Somebody noticed it in use",
    Discovery.INSPECTION: "At an inspection",
    Discovery.INCOMING: "At an incoming inspection",
    Discovery.REPAIR: "During a repair",
    Discovery.NOTICE: "By a safety notice",
}


def finding_fields(choices: FindingChoices, faults: DeviceFaults, prefix: str = "") -> list[Field]:
    """Empty; names begin with the prefix."""
    subsystems = choices_of((each, words_of(each)) for each in Subsystem)
    causes = choices_of((each, words_of(each)) for each in Cause)
    found = [
        Field("mode", "What is wrong (no patient data)", "long", needed="Say what is wrong."),
        Field("subsystem", "Where it sits", "select", subsystems, needed="Say where it sits."),
        Field("position", "Part, the smallest that is replaced", "select", choices_of(choices.positions)),
        Field("failure", "Did it fail?", "buttons", choices_of(FAILURES.items()), needed="Say whether it failed."),
        Field(
            "severity", "How grave is it?", "buttons", choices_of(SEVERITIES.items()), needed="Say how grave it is.",
            hint="What could harm or stops its use holds the device at once.",
        ),
        Field("cause", "Cause, as far as it is known", "select", causes, (str(Cause.NOT_KNOWN),), needed="Say why."),
        Field("same_root_as", "Same root as", "select", choices_of(_roots(faults.findings))),
        Field(
            "training_on", "Day of the training", "date",
            hint="For a use error alone: it takes a training that was held and a second person who agrees.",
        ),
        Field("second_person", "Second person, for a use error", "select", choices_of(choices.people)),
        Field("note", "Note", "line"),
    ]  # fmt: skip
    for each in found:
        each.name = f"{prefix}{each.name}"
    return found


def line_of(fields: Sequence[Field], prefix: str = "") -> FindingLine | None:
    """None: something is wrong, and the fields say what."""
    by_name = {each.name.removeprefix(prefix): each for each in fields}
    training_on = by_name["training_on"].day()
    if training_on is not None and training_on < FIRST_TRAINING:
        by_name["training_on"].error = f"Say a day from {day_in_words(FIRST_TRAINING)} on."
    if any(each.error for each in fields):
        return None
    cause, failure = Cause(by_name["cause"].value), FailureKind(by_name["failure"].value)
    severity = Severity(by_name["severity"].value)
    if failure in {FailureKind.COSMETIC, FailureKind.NONE} and severity in HOLDS:
        by_name["severity"].error = "What only looks wrong, or is no failure, neither harms nor stops its use."
    if cause == Cause.NO_FAULT_FOUND and failure != FailureKind.NONE:
        by_name["failure"].error = "Where no fault was found there was no failure."
    second = by_name["second_person"].number
    if cause == Cause.USE_ERROR and (training_on is None or second is None):
        by_name["training_on"].error = "A use error takes the day of a training and a second person who agrees."
    if any(each.error for each in fields):
        return None
    return FindingLine(
        subsystem=Subsystem(by_name["subsystem"].value), mode=by_name["mode"].value, cause=cause, failure=failure,
        severity=severity, position=by_name["position"].number, same_root_as=by_name["same_root_as"].number,
        training_on=training_on, second_person=second, note=by_name["note"].value or None,
    )  # fmt: skip


def report_field(faults: DeviceFaults) -> Field:
    """Which of the open reports it answers. The only one is chosen."""
    reports = choices_of(
        (each.fault_report, f"{short_day(each.seen_on)}: {(each.account or 'words that were taken out')[:60]}")
        for each in faults.reports
    )
    first = (reports[0][0],) if len(reports) == 1 else ()
    return Field("fault_report", "Answers the fault report", "select", reports, first)


def _roots(findings: Sequence[FindingListed]) -> list[tuple[int, str]]:
    """The first of each root, the newest first."""
    first = [each for each in reversed(findings) if each.same_root_as is None]
    return [(each.finding, finding_in_words(each)) for each in first]


def finding_in_words(finding: FindingListed) -> str:
    """`10 June 2026, drive: It sinks under load.`"""
    said = finding.mode or "words that were taken out"
    short = said if len(said) <= 60 else f"{said[:59]}…"
    return f"{day_in_words(finding.discovered_on)}, {words_of(finding.subsystem)}: {short}"
