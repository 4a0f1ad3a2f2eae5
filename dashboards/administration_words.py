"""The sentences of the administrator's page."""

import datetime as dt
import re
from collections.abc import Sequence

from django.utils.text import capfirst

from dashboards.history_words import scope_in_words
from dashboards.words import day_in_words, in_words, sentence, short_day, words_of
from pmcore.engines.vocabulary import JobState, TokenDeed
from pmcore.queries.administration import Administration, Reader, RecordState, SiteWork
from pmcore.queries.job_list import JobTold

LATE = dt.timedelta(minutes=15)
"""Readers of the history come every minute; what waits for longer is late."""

_NEVER = dt.date.min
_KINDS = {
    "verify_record": "Verify the record",
    "export_history": "Export the history",
    "note_token_use": "Note that a token was used",
}
_TOKEN_USED = re.compile(r"token (?P<token>\d+) (?P<deed>read|export) (\d+ )?(?P<on>\d{4}-\d\d-\d\d)")
_STATES = {
    JobState.WAITING: "waits for a worker",
    JobState.RUNNING: "runs",
    JobState.DONE: "done",
    JobState.PARKED: "parked",
}
_LINES = {JobState.PARKED: "not_met", JobState.DONE: "met"}
_READERS = {"alerts": "Alerts", "standings": "Standings, from which figures are counted"}


def headline(found: Administration, at: dt.datetime) -> str:
    """What is not as it should be, gravest first; nothing: that everything runs."""
    said = [part for part in _concerns(found, at) if part]
    if not said:
        return f"Everything runs: no job is parked and {_swept_today(found.sites)}. {_sound(found.record)}"
    joined = said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"
    return f"{capfirst(joined)}."


def _concerns(found: Administration, at: dt.datetime) -> list[str]:
    record, verified = found.record, found.record.verified
    return [
        *(_inside(fault) for fault in found.faults),
        "the newest entry of the record contradicts itself" if record.damage else "",
        "the record was found unsound" if verified is not None and not verified.sound else "",
        _counted(found.jobs.parked, "job is parked", "jobs are parked"),
        _behind(found.sites),
        *(f"the reader “{each.name}” is behind" for each in found.readers if is_late(each, at)),
        "the mail server does not answer" if found.silent is not None else "",
        "" if found.rules else "nobody is told of anything, as there is no rule or all are switched off",
    ]


def _inside(fault: str) -> str:
    """A sentence as a part of another."""
    return f"{fault[0].lower()}{fault[1:]}".rstrip(".")


def _counted(count: int, one: str, several: str) -> str:
    return f"{in_words(count)} {one if count == 1 else several}" if count else ""


def _behind(sites: Sequence[SiteWork]) -> str:
    behind = [site for site in sites if _swept_on(site) < site.wanted_on]
    if len(behind) > 1:
        return f"{in_words(len(behind))} sites are behind with their daily work"
    for site in behind:
        on = _swept_on(site)
        return f"{site.name} was {'never swept' if on == _NEVER else f'last swept {_ago(on, site.today)}'}"
    return ""


def _swept_on(site: SiteWork) -> dt.date:
    """The day for which all of its daily work was done."""
    return min(site.due_on or _NEVER, site.alerts_on or _NEVER)


def _ago(day: dt.date, today: dt.date) -> str:
    days = (today - day).days
    return "yesterday" if days == 1 else f"{in_words(days)} days ago"


def _swept_today(sites: Sequence[SiteWork]) -> str:
    if not sites:
        return "there is no site yet"
    today = all(_swept_on(site) >= site.today for site in sites)
    return "every site was swept today" if today else "no site is behind with its daily work"


def _sound(record: RecordState) -> str:
    if record.verified is None:
        return "Nobody has verified the record yet."
    return f"The record was last found sound on {day_in_words(record.verified.ended_at.date())}."


def swept(on: dt.date | None, site: SiteWork) -> str:
    """When a part of the site's daily work was last done."""
    today = site.today
    if on is None:
        return "Never."
    if on == today:
        return f"Today, {short_day(on)}."
    if on > today:
        return f"For {day_in_words(on)}, which lies ahead: a clock was wrong. The next sweep puts it right."
    if on >= site.wanted_on:
        return f"{day_in_words(on)}; that of today comes within the hour."
    return f"Behind: {_ago(on, today)}, {day_in_words(on)}."


def reader_name(reader: Reader) -> str:
    return _READERS.get(reader.name, words_of(reader.name).capitalize())


def is_late(reader: Reader, at: dt.datetime) -> bool:
    if reader.behind is not None and reader.behind < 0:
        return True
    return reader.waiting_since is not None and at - reader.waiting_since > LATE


def how_far(reader: Reader, at: dt.datetime) -> str:
    if reader.behind is None:
        return "It has not begun."
    if reader.behind < 0:
        return "It has seen more entries than the history holds: the newest were cut off. Verify the record."
    if not reader.behind:
        return "It has read everything."
    many = "One entry is" if reader.behind == 1 else f"{reader.behind:,} entries are"
    late = f", the oldest since {moment(reader.waiting_since)}" if reader.waiting_since and is_late(reader, at) else ""
    return f"{many} still to be read{late}."


def moment(at: dt.datetime) -> str:
    return f"{day_in_words(at.date())}, {at:%H:%M} UTC"


def jobs_counted(found: Administration) -> str:
    jobs = found.jobs
    parts = [(jobs.waiting, "waits", "wait"), (jobs.running, "runs", "run"), (jobs.parked, "is parked", "are parked")]
    said = [f"{in_words(count) if count else 'none'} {several if count > 1 else one}" for count, one, several in parts]
    return f"{said[0].capitalize()}, {said[1]}, {said[2]}."


def kind_of(job: JobTold) -> str:
    """What is to be done; where its name says which token was used when, with that."""
    used = _used(job)
    if used is None:
        return _KINDS.get(job.kind, words_of(job.kind).capitalize())
    purpose = " for an export" if used["deed"] == TokenDeed.EXPORT else ""
    return f"Note that token {used['token']} was used{purpose} on {day_in_words(dt.date.fromisoformat(used['on']))}"


def about(job: JobTold, names: dict[int, str]) -> str:
    """Which of its kind it is. `names`: of the sites."""
    if job.scope is not None:
        return scope_in_words(job.scope, names)
    if _used(job) is not None:
        return ""
    return re.sub(r"\d+(?= entries$)", lambda size: f"{int(size[0]):,}", job.name)


def _used(job: JobTold) -> re.Match[str] | None:
    return _TOKEN_USED.fullmatch(job.name) if job.kind == "note_token_use" else None


def state_of(job: JobTold) -> tuple[str, str]:
    """A word, and the line under it."""
    if job.cancelled:
        return "cancelled", "withdrawn"
    return _STATES[job.state], _LINES.get(job.state, "open")


def said_of(job: JobTold) -> list[str]:
    """How far it is, or why it stands still."""
    said = [f"Attempt {job.attempts}." if job.state == JobState.RUNNING else _attempts(job)]
    if job.lease_over and job.leased_until_at is not None:
        said.append(f"Its worker was last to be heard of by {moment(job.leased_until_at)}; another one takes it over.")
    elif job.state == JobState.RUNNING and job.progress:
        said.append(sentence(job.progress))
    if job.cancelled:
        said.append("Nobody wants it any more; asked for again on the page History, it is made.")
    elif job.state == JobState.PARKED and not job.can_retry:
        said.append("Words were taken out of the record since; whoever wants it asks again on the page History.")
    elif job.error and job.state == JobState.PARKED:
        said.append(f"Reason: {sentence(job.error)}")
    elif job.error and job.state != JobState.DONE:
        said.append(f"Before, it ended with: {sentence(job.error)}")
    return [part for part in said if part]


def _attempts(job: JobTold) -> str:
    if not job.attempts:
        return ""
    return "One attempt." if job.attempts == 1 else f"{in_words(job.attempts).capitalize()} attempts."


def record_lines(record: RecordState) -> list[str]:
    """Its last signed head and its last verification."""
    return [_signed(record), _verified(record)]


def _signed(record: RecordState) -> str:
    if record.head is None:
        return "No head has been signed yet: one is signed within the hour."
    since = record.size - record.head.size
    grown = f"; {since:,} entr{'y' if since == 1 else 'ies'} came since" if since > 0 else ", all there are"
    return f"The last head was signed on {moment(record.head.signed_at)}, of {record.head.size:,} entries{grown}."


def _verified(record: RecordState) -> str:
    found = record.verified
    if found is None:
        return "Nobody has verified the record yet."
    how = "sound" if found.sound else f"not sound, with {_counted(len(found.faults), 'fault', 'faults') or 'faults'}"
    return f"The last verification ended on {moment(found.ended_at)}: of {found.size:,} entries, {how}."
