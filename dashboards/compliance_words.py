"""The sentences of the compliance page and report."""

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import reduce

from django.utils.text import capfirst

from dashboards.compliance_asking import MONTHS_SHOWN, Answer, Question, months_in
from dashboards.words import MONTHS, day_in_words, in_words, month_in_words, words_of
from pmcore.engines.compliance import Tally
from pmcore.engines.vocabulary import AttemptOutcome, Counted, ReasonCode
from pmcore.queries.compliance import ComplianceFilter
from pmcore.queries.compliance_rows import DueRow
from pmcore.queries.miss_evidence import Evidence

_REASONS = {
    ReasonCode.WITH_A_PATIENT: "it was with a patient",
    ReasonCode.NOT_FOUND: "it could not be found",
    ReasonCode.NO_ACCESS: "the area gave no access",
    ReasonCode.WAITING_FOR_PART: "it waits for a part",
    ReasonCode.NO_USABLE_CONTROL: "no control could be used",
    ReasonCode.LEFT_AFTER_CLOSE: "its departure was recorded after the close",
}
_OUTCOMES = {
    AttemptOutcome.WITH_A_PATIENT: ReasonCode.WITH_A_PATIENT,
    AttemptOutcome.NOT_FOUND: ReasonCode.NOT_FOUND,
    AttemptOutcome.NO_ACCESS: ReasonCode.NO_ACCESS,
}
_LEADS = 0.4  # the share of the additional misses from which one site is named


def period_in_words(asked: ComplianceFilter) -> str:
    """`September 2026`, `April to June 2026`, or both days."""
    first, last = asked.starts_on, asked.ends_on
    if not is_whole_months(asked):
        return f"{day_in_words(first)} to {day_in_words(last)}"
    if months_in(asked) == 1:
        return month_in_words(first)
    begins = MONTHS[first.month - 1] if first.year == last.year else month_in_words(first)
    return f"{begins} to {month_in_words(last)}"


def closed_in_words(asked: ComplianceFilter) -> str:
    """As it stands after "windows that closed": `in September 2026`, `from April to June 2026`."""
    word = "in" if is_whole_months(asked) and months_in(asked) == 1 else "from"
    return f"{word} {period_in_words(asked)}"


def is_whole_months(asked: ComplianceFilter) -> bool:
    return asked.starts_on.day == 1 and (asked.ends_on + dt.timedelta(days=1)).day == 1


def headline(answer: Answer) -> str:
    """What a person could read out in a meeting."""
    tally = answer.report.tally
    if not tally.due:
        return f"No inspection was due whose window closed {closed_in_words(answer.report.asked)}."
    were = "was" if tally.met == 1 else "were"
    inspections = "inspection" if tally.due == 1 else "inspections"
    said = f"Of {tally.due:,} {inspections} due, {tally.met:,} {were} done inside their window: {tally.share}."
    return f"{said} {_the_others(tally, len(answer.report.lists.high_risk_misses))}"


def _the_others(tally: Tally, grave: int) -> str:
    """Done late and not done are told apart: `grave` of those that are not done stand by name in the list."""
    undone, parts = tally.undone, []
    if tally.met_late:
        parts.append(f"{in_words(tally.met_late)} {'was' if tally.met_late == 1 else 'were'} done late")
    if undone == 1:
        parts.append(f"one is not done, and it is {'' if grave else 'not '}high-risk")
    elif undone:
        parts.append(f"{in_words(undone)} are not done, {in_words(grave) if grave else 'none'} of them high-risk")
    said = " and ".join(parts) or "none was missed"
    return f"{capfirst(said)}."


@dataclass(frozen=True, slots=True)
class Movement:
    """How the figure moved since the period before; `leading`: the site where most of it lies, with the period's count
    and the others' together. None: no one site stands out."""

    before: Tally
    now: Tally
    since: str
    leading: tuple[int, Tally, Tally] | None


def movement(answer: Answer) -> Movement | None:
    """None where there is nothing to compare: no whole months, or nothing due."""
    asked = answer.report.asked
    count = months_in(asked)
    if not is_whole_months(asked) or count > MONTHS_SHOWN:
        return None
    now, past = answer.months[-count:], answer.months[-2 * count : -count]
    before, total = _sum([each.tally for each in past]), _sum([each.tally for each in now])
    if not before.due or not total.due:
        return None
    since = month_in_words(past[0].begins_on) if count == 1 else f"the {in_words(count)} months before"
    sites = {site for each in now for site in each.by_site}
    by_site = {site: _sum([each.by_site.get(site, Tally()) for each in now]) for site in sites}
    return Movement(before, total, since, _leading(by_site, before))


def _leading(by_site: dict[int, Tally], before: Tally) -> tuple[int, Tally, Tally] | None:
    """The site with the most misses beyond what the share of the period before would have given there."""
    usual = (before.due - before.met) / before.due
    beyond = {site: tally.due - tally.met - usual * tally.due for site, tally in by_site.items()}
    total = sum(each for each in beyond.values() if each > 0)
    if len(by_site) < 2 or not total:
        return None
    site = max(sorted(beyond), key=lambda each: beyond[each])
    if beyond[site] < max(1.0, _LEADS * total):
        return None
    return site, by_site[site], _sum([tally for other, tally in by_site.items() if other != site])


def _sum(tallies: Sequence[Tally]) -> Tally:
    def add(one: Tally, other: Tally) -> Tally:
        return Tally(one.met + other.met, one.met_late + other.met_late, one.reason_recorded + other.reason_recorded,
                     one.no_reason + other.no_reason)  # fmt: skip

    return reduce(add, tallies, Tally())


def why(answer: Answer, names: dict[int, str]) -> Iterator[str]:
    """Why the figure moved, and what stands outside it: sentences. `names`: of the sites."""
    moved = movement(answer)
    if moved is not None:
        yield _moved(moved)
        if moved.leading is not None and moved.now.share.percent != moved.before.share.percent:
            yield from _where(answer, moved.leading, names)
    coverage = answer.report.coverage
    bare = coverage.share.denominator - coverage.share.numerator
    if bare:
        have, they = ("device has", "it stands") if bare == 1 else ("devices have", "they stand")
        yield f"{bare:,} {have} no inspection plan and no signed reason; {they} outside this figure."


def _moved(moved: Movement) -> str:
    now, before = moved.now.share.percent, moved.before.share.percent
    assert now is not None and before is not None
    if now == before:
        return f"The figure is the same as in {moved.since}."
    verb = "fell" if now < before else "rose"
    return f"The figure {verb} from {moved.before.share} in {moved.since}."


def _where(answer: Answer, leading: tuple[int, Tally, Tally], names: dict[int, str]) -> Iterator[str]:
    site, there, elsewhere = leading
    name = names.get(site, "places that nobody recorded")
    missed, elsewhere_missed = there.due - there.met, elsewhere.due - elsewhere.met
    yield (
        f"{name} had {missed:,} of the {missed + elsewhere_missed:,} that were not done in time: "
        f"{there.share} was done in time there, {elsewhere.share} elsewhere."
    )
    reasons = Counter(
        reason for row in answer.misses if row.site == name and (reason := reason_of(row, answer)) is not None
    )
    if reasons:
        reason, count = reasons.most_common(1)[0]
        yield f"Most often, {in_words(count)} times, the record says that {_REASONS[reason]}."


def note_over_last_month(answer: Answer, names: dict[int, str]) -> str | None:
    """What is written next to the newest bar."""
    moved = movement(answer)
    if moved is None or moved.leading is None or months_in(answer.report.asked) != 1:
        return None
    site, there, elsewhere = moved.leading
    missed = there.due - there.met
    return f"{names.get(site, 'elsewhere')}: {missed} of {missed + elsewhere.due - elsewhere.met}"


def reason_of(row: DueRow, answer: Answer) -> ReasonCode | None:
    """What the record gives as the reason: what somebody said, or what came of the attempts."""
    found = answer.evidence.get(row.due_inspection)
    if found is None:
        return None
    if found.reasons:
        return found.reasons[-1][1]
    return _OUTCOMES[found.attempts[-1][1]]


def miss_in_words(row: DueRow, found: Evidence | None) -> str:
    """What is known of one that was not met."""
    parts = [f"Closed on {_short(row.closes_on)}."]
    if row.counted is Counted.MET_LATE and row.completed_on is not None:
        parts.append(f"Done late, on {_short(row.completed_on)}.")
    if found is not None and found.attempts:
        days = " and ".join(_short(day) for day, _ in found.attempts)
        reason = _REASONS[_OUTCOMES[found.attempts[-1][1]]]
        tried = "attempt" if len(found.attempts) == 1 else "attempts"
        parts.append(f"On {in_words(len(found.attempts))} {tried} ({days}) {reason}.")
    if found is not None and found.reasons:
        day, reason_code = found.reasons[-1]
        parts.append(f"Reason recorded on {_short(day)}: {_REASONS[reason_code]}.")
    if row.counted is Counted.NO_REASON:
        parts.append("No reason is recorded. A decision is needed.")
    return " ".join(parts)


def _short(day: dt.date) -> str:
    return f"{day.day} {MONTHS[day.month - 1]}"


def quiet_line(asked: Question) -> list[str]:
    """Which period, as of when, which record."""
    return [
        f"Windows that closed {closed_in_words(asked.filter)}",
        f"as of {day_in_words(asked.as_of)}",
        f"record size {asked.known:,}",
        *_narrowed(asked.filter),
    ]


def _narrowed(asked: ComplianceFilter) -> Iterator[str]:
    if asked.risk_classes is not None:
        yield "only " + ", ".join(sorted(words_of(each) for each in asked.risk_classes))
    if asked.bases is not None:
        yield "only on the basis of " + ", ".join(sorted(words_of(each) for each in asked.bases))
