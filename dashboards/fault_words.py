"""Faults, findings, holds and releases as sentences."""

from collections.abc import Sequence

from dashboards.words import day_in_words, gone_in_words, held_in_words, hold_in_words, in_words, sentence, words_of
from pmcore.engines.gate import HoldToLift, Proof
from pmcore.queries.device_faults import DeviceFaults
from pmcore.queries.fault_pages import FaultReportListed, HoldListed
from pmcore.queries.fault_recorded import FaultRecorded
from pmcore.queries.taken_back import TakenBack

AID = (
    "pmcore is an aid and releases nothing by itself: you sign. The maker's instructions, local codes and licensed "
    "practice govern."
)


def hold_told(hold: HoldListed, faults: DeviceFaults) -> str:
    """Since when, by whom, and what was found or noted."""
    by = f" by {hold.placed_by_name}" if hold.placed_by_name else ""
    said = [f"Since {day_in_words(hold.placed_on)}{by}."]
    finding = faults.finding(hold.finding)
    if finding is not None:
        said.append(f"Found: {sentence(finding.mode or 'words that were taken out')}")
    if hold.note:
        said.append(sentence(hold.note))
    return " ".join(said)


def report_told(report: FaultReportListed) -> str:
    by = f" by {report.reported_by_name}" if report.reported_by_name else ""
    use = {True: " It was in use.", False: " It was not in use.", None: ""}[report.during_use]
    words = report.account or "The words were taken out"
    return f"Seen on {day_in_words(report.seen_on)}{by}: {sentence(words)}{use} Nobody has looked at it yet."


def reported_headline(count: int, grave: int, *, more: bool) -> str:
    """How many reports nobody has answered, and what matters of them."""
    if count == 0:
        return "Every reported fault has been looked at."
    many = f"More than {in_words(count)}" if more else in_words(count).capitalize()
    said = f"{many} fault{' is' if count == 1 else 's are'} reported that nobody has looked at"
    if grave == 0:
        return f"{said}."
    which = "it" if count == 1 else "each of them" if grave == count else f"{in_words(grave)} of them"
    return f"{said}; {which} could harm somebody."


def report_listed(report: FaultReportListed) -> tuple[str, str]:
    """What was seen, harm first; and when, by whom."""
    use = {True: ", in use", False: ", not in use", None: ""}[report.during_use]
    by = f" by {report.reported_by_name}" if report.reported_by_name else ""
    harm = "It could harm somebody. " if report.could_harm else ""
    words = sentence(report.account or "The words were taken out")
    return f"{harm}{words}", f"Seen on {day_in_words(report.seen_on)}{by}{use}."


def to_lift(hold: HoldToLift) -> str:
    """What the record shows for it, or what is missing."""
    match hold.wanted:
        case Proof.TESTED_AGAIN if hold.shown:
            return "What failed was passed since, or left within its limits."
        case Proof.TESTED_AGAIN | Proof.INCOMING if hold.open_steps:
            return f"Failed and not passed since: {', '.join(map(words_of, hold.open_steps))}."
        case Proof.TESTED_AGAIN:
            return "No new test is recorded."
        case Proof.INCOMING:
            shown = "An incoming inspection is complete since." if hold.shown else ""
            return shown or "No complete incoming inspection is recorded since."
        case Proof.REPAIRED:
            return "A repair of it is recorded since." if hold.shown else "No repair of it is recorded."
        case Proof.JUDGEMENT:
            return "Nothing that is recorded shows that its parts are whole again."


_MISSING = {
    Proof.TESTED_AGAIN: "what failed was not tested again",
    Proof.INCOMING: "no complete incoming inspection shows it fit",
    Proof.JUDGEMENT: "nothing recorded shows its parts whole again",
}


def ground(holds: Sequence[HoldToLift]) -> str:
    """What a signature takes, for all of the holds."""
    if not holds:
        return "No hold is in force: there is nothing to lift."
    missing = {_MISSING[each.wanted] for each in holds if each.needs_manager}
    if missing:
        where = " or ".join(sorted(missing))
        return f"Where {where}, a manager judges and signs, and says in the note on what ground."
    if not all(each.shown for each in holds):
        return "Say in the note what was done, and on what ground it may be used again."
    return "The record shows for every hold that the device is fit again; a note is not needed."


def headline(done: FaultRecorded, name: str) -> str:
    """What happened."""
    if done.gone:
        return f"Taken back: {_gone(done.gone[0])}. It counts as though it had never been."
    match done.kind:
        case "fault_reported":
            held = f" {name} is held at once." if done.held else ""
            return f"Reported: {sentence(done.account or 'a fault')}{held}"
        case "finding_made":
            subsystem, mode, cause = done.found or ("", "", "")
            verb = "Seen otherwise now" if done.again else "Recorded"
            return f"{verb}: {sentence(mode or 'a finding')} It sits in {words_of(subsystem)}; cause {words_of(cause)}."
        case "hold_placed":
            return f"{name} is held because {hold_in_words(done.held[0])}."
    count = len(done.lifted)
    if done.standing:
        return f"Signed: {in_words(count)} {_holds(count)} lifted, and {name} still may not be used."
    return f"Signed: {name} may be used again."


def follows(done: FaultRecorded) -> list[str]:
    """What follows from it, a sentence each."""
    said = []
    if done.gone:
        said.append(f"Why: {sentence(done.gone[0].reason or 'the words were taken out')}")
        said.extend(f"Taken back with it: {_gone(each)}." for each in done.gone[1:])
    if done.kind == "fault_reported" and not done.gone:
        said.append("The technicians see it on the page of the device until a finding answers it.")
    if done.kind == "finding_made" and done.held:
        said.append("It is grave, so the same act holds the device.")
    if done.restriction:
        said.append(f"Restriction: {sentence(done.restriction)}")
    if done.standing:
        reasons = "; ".join(dict.fromkeys(held_in_words(each.reason) for each in done.standing))
        said.append(
            f"Nobody may use it until {in_words(len(done.standing))} {_holds(len(done.standing))} "
            f"{'is' if len(done.standing) == 1 else 'are'} lifted by a signed release: {reasons}."
        )
    elif done.kind != "release_signed" or done.gone:
        said.append("No hold is in force: it stays in use.")
    return said


def _gone(each: TakenBack) -> str:
    return gone_in_words(each.thing, each.on, each.words)


def _holds(count: int) -> str:
    return "hold" if count == 1 else "holds"
