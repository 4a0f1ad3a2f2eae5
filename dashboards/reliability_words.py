"""The sentences of the reliability page."""

from collections.abc import Iterator
from dataclasses import dataclass

from dashboards.reliability_asking import Question
from dashboards.words import day_in_words, in_words, words_of
from pmcore.engines.vocabulary import FailureEvidence, FailureKind, StandoutFamily, Subsystem
from pmcore.queries.reliability_compared import Comparison, Side, Within
from pmcore.queries.reliability_names import Names
from pmcore.queries.reliability_page import ReliabilityPage
from pmcore.queries.reliability_standouts import Difference, StandoutsReport

_ONE = {Subsystem.DRIVE, Subsystem.ELECTRICAL_SAFETY, Subsystem.SOFTWARE}  # said of one thing: it fails
_LEFT_OUT = {
    "use_error": "use errors, which a training and a second person's word stand for",
    "no_fault_found": "in which no fault was found",
    "found_at_incoming": "from incoming inspections, so no failures of ours",
    "cosmetic": "cosmetic",
    "not_a_failure": "that are no failures, as planned replacements",
    "same_root": "of the same root as a failure that counts",
    "counted_apart": "of the other kind, which is counted apart",
    "no_evidence_for_intervals": "by impact, accessory or environment, which say nothing of an interval",
}


@dataclass(frozen=True, slots=True)
class Told:
    """A sentence, and the one with the numbers behind it."""

    said: str
    numbers: str


def headline(page: ReliabilityPage) -> str:
    """What a person could read out in a meeting."""
    report, screened = page.report, page.screened
    if not report.exposure_years:
        return "No device that was asked for was in service in this time."
    if not report.events:
        return f"Nothing failed in {years_in_words(report.exposure_years)}."
    if screened.standouts:
        return difference_in_words(screened.standouts[0], page.names)
    if screened.compared:
        return f"Nothing stands out: no difference among {screened.compared:,} is larger than chance explains."
    return "There is too little to say of any group that it fails more often than the others."


def second(page: ReliabilityPage) -> str:
    """Counts and interval of the first standout, or what there is in its place."""
    report, screened = page.report, page.screened
    if not report.exposure_years:
        return (
            "Time in service counts from the day on which a device's history is known, while it is in the inventory "
            "and not held, stored or missing. Ask for other days or devices."
        )
    if not report.events:
        return "Failures come from findings: those made at inspections, and those that clinical areas report."
    if screened.standouts:
        return f"{numbers_in_words(screened.standouts[0])} {_others(screened)}"
    return f"{_failures(report.events)} in {years_in_words(report.exposure_years)}. {_too_few(screened)}".strip()


def _others(screened: StandoutsReport) -> str:
    more = len(screened.standouts) - 1
    if not more:
        return f"Nothing else stands out among {screened.compared:,} compared; chance alone explains the rest."
    stand = "difference stands" if more == 1 else "differences stand"
    return (
        f"{in_words(more).capitalize()} more {stand} out among {screened.compared:,} compared; chance alone explains "
        "the rest."
    )


def _too_few(screened: StandoutsReport) -> str:
    if not screened.too_few:
        return ""
    groups = "comparison was" if screened.too_few == 1 else "comparisons were"
    return f"{screened.too_few:,} {groups} not made, for fewer than five failures."


def difference_in_words(each: Difference, names: Names) -> str:
    """`Controls on Marl revision B fail 3.5 times as often as on revision A.`"""
    model = names.models.get(each.device_model, "a model that nobody recorded")
    match each.family:
        case StandoutFamily.REVISION:
            on, others = f" on {model} revision {names.labels.get(each.key, '')}", "on the other revisions"
            if each.against is not None:
                others = f"on revision {names.labels.get(each.against, '')}"
            return _sentence(each, on, "", others)
        case StandoutFamily.SITE:
            others = f"at {names.sites.get(each.against)}" if each.against is not None else "at the other sites"
            return _sentence(each, f" on {model}", f" at {names.sites.get(each.key, '')}", others)
        case StandoutFamily.MODEL:
            others = "on the other models of its class"
            if each.against is not None:
                others = f"on {names.models.get(each.against, '')}"
            return _sentence(each, f" on {model}", "", others)


def _sentence(each: Difference, on: str, at: str, others: str) -> str:
    part = words_of(each.subsystem)
    if each.kind is FailureKind.POTENTIAL:
        subject, fail, failed = f"Potential failures of {part}{on}", "are found", "were found"
    else:
        subject, fail, failed = f"{part.capitalize()}{on}", "fails" if each.subsystem in _ONE else "fail", "failed"
    if each.ratio is None or each.ratio == 0:
        times = f"{each.events:,} times" if each.events else "never"
        never = "never" if each.events else f"{each.other_events:,} times"
        return f"{subject} {failed} {times}{at} and {never} {others}."
    return f"{subject} {fail} {times_in_words(each.ratio)} as often{at} as {others}."


def numbers_in_words(each: Difference) -> str:
    """`42 failures in 60 device-years against 18 in 90; between 2.0 and 6.5 times.`"""
    counts = (
        f"{_failures(each.events)} in {years_in_words(each.exposure_years)} against {each.other_events:,} in "
        f"{plain_years(each.other_exposure_years)}"
    )
    return f"{counts}{_between(each.lower, each.upper)}."


def _between(lower: float | None, upper: float | None) -> str:
    if lower is not None and upper is not None:
        return f"; between {_number(lower)} and {_number(upper)} times"
    return f"; at least {_number(lower)} times" if lower else ""


def told_of(each: Difference, names: Names) -> Told:
    return Told(difference_in_words(each, names), numbers_in_words(each))


@dataclass(frozen=True, slots=True)
class Compared(Told):
    """`within`: what the same comparison says within strata; `opposed`: something else."""

    within: str
    opposed: bool


def comparison_in_words(found: Comparison) -> Compared:
    """What comes of two groups that somebody chose."""
    told, within = _compared(found), found.within
    opposed = within is not None and within.opposed
    return Compared(told.said, told.numbers, "" if within is None else _within(within), opposed)


def _within(within: Within) -> str:
    strata = f"Compared only within the same {within.by}, of which {in_words(within.strata)} had both"
    if within.ratio is None:
        return f"{strata}, it cannot be told: nothing failed on one side."
    numbers = f"{strata}, the ratio is {times_in_words(within.ratio)}{_between(within.lower, within.upper)}."
    if not within.opposed:
        return numbers
    return (
        f"{numbers} It points the other way: the two differ in where they stand or what they are. Trust neither alone."
    )


def _compared(found: Comparison) -> Told:
    one, other, ratio = found.group, found.reference, found.crude
    counts = f"{_side(one)}; {_side(other)}{_between(ratio.lower, ratio.upper)}."
    if ratio.p_value is None:
        return Told(f"There is no data to compare {one.label} with {other.label}.", counts)
    if ratio.ratio is None:
        said = f"{one.label.capitalize()} failed, {other.label} never did"
    else:
        said = f"{_capital(one.label)} fails {times_in_words(ratio.ratio)} as often as {other.label}"
    return Told(f"{said}: {_how_sure(ratio.p_value)}.", counts)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _how_sure(p_value: float) -> str:
    """A difference that one chose to look at is judged by itself."""
    if p_value >= 0.05:
        return "no more than chance can explain"
    chance = "fewer than 1 in 1,000" if p_value < 0.001 else f"about {max(1, round(1000 * p_value))} in 1,000"
    return f"if both failed alike, chance would give so large a difference {chance} times"


def _side(side: Side) -> str:
    return f"{_capital(side.label)}: {_failures(side.events)} in {years_in_words(side.exposure_years)}"


def _failures(count: int) -> str:
    return "1 failure" if count == 1 else f"{count:,} failures"


def times_in_words(ratio: float) -> str:
    return f"{_number(ratio)} times"


def _number(value: float) -> str:
    return f"{value:,.1f}" if value >= 1 else f"{value:.2f}"


def plain_years(years: float) -> str:
    return f"{years:,.0f}" if years >= 10 else f"{years:.1f}"


def years_in_words(years: float) -> str:
    said = plain_years(years)
    return f"{said} device-year" if said == "1.0" else f"{said} device-years"


def quiet_line(asked: Question, page: ReliabilityPage) -> list[str]:
    """Which days, as of when, how much was watched, which record."""
    report = page.report
    days = [] if report.starts_on is None else [f"{day_in_words(report.starts_on)} to {day_in_words(report.ends_on)}"]
    return [
        *days,
        f"as of {day_in_words(asked.as_of)}",
        *([years_in_words(report.exposure_years)] if report.exposure_years else []),
        f"record size {asked.known:,}",
        *_narrowed(asked, page.names),
    ]


def _narrowed(asked: Question, names: Names) -> Iterator[str]:
    """What is counted that one cannot see in the form's fields at once."""
    chosen = asked.filter
    if chosen.subsystems is not None:
        yield "only " + ", ".join(sorted(words_of(each) for each in chosen.subsystems))
    if chosen.areas is not None:
        yield "only in " + ", ".join(sorted(names.areas.get(each, ("", str(each)))[1] for each in chosen.areas))
    if chosen.discoveries is not None:
        yield "only " + ", ".join(sorted(words_of(each) for each in chosen.discoveries))
    if chosen.evidence is FailureEvidence.FOR_INTERVALS:
        yield "only what is evidence for intervals"


def what_is_counted(asked: Question, names: Names) -> str:
    """What the picture is about: `Orvane Marl revision B`, `Surgical table`; `all devices`."""
    chosen = asked.filter
    for wanted, tell, there in (
        (chosen.revisions, names.revision, names.labels),
        (chosen.device_models, names.model, names.models),
        (chosen.device_classes, names.classes.__getitem__, names.classes),
    ):
        if wanted is not None:
            return ", ".join(sorted(tell(each) for each in wanted if each in there)) or "devices that there are not"
    return "all devices"


def left_out_in_words(page: ReliabilityPage) -> list[str]:
    return [f"{each.findings:,} {_LEFT_OUT.get(each.reason, words_of(each.reason))}" for each in page.report.left_out]
