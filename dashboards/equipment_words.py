"""What happened to a device, as sentences."""

import datetime as dt

from dashboards.words import day_in_words, gone_in_words, held_in_words, sentence, words_of
from pmcore.queries.device_timeline import DeviceEvent, Happened

_STATES = {
    "in_service": "In service.",
    "stored": "Put into storage.",
    "not_located": "Could not be found.",
    "left": "Left the inventory.",
}
_OUTCOMES = {
    "with_a_patient": "it was with a patient",
    "not_found": "it could not be found",
    "no_access": "the area gave no access",
}


def event_in_words(event: DeviceEvent) -> str:
    """One sentence, or two."""
    words = event.words
    match event.what:
        case Happened.KNOWN:
            return "Its history is known from here." + (" It was found in use." if words else "")
        case Happened.TAGGED:
            return f"Tagged {words[0]}." if words else "Its tag was taken off."
        case Happened.PLACED:
            return f"Placed at {', '.join(part for part in words if part) or 'a place that nobody recorded'}."
        case Happened.OWNED:
            return f"Ownership: {words_of(words[0])}."
        case Happened.LENT:
            return "Lent out." if words[0] == "out" else "Back from a loan."
        case Happened.STATE:
            return _STATES.get(words[0], f"{words_of(words[0]).capitalize()}.")
        case Happened.INSPECTED:
            return _inspected(*words)
        case Happened.ATTEMPTED:
            why = _OUTCOMES.get(words[0], words_of(words[0]))
            return f"Could not be inspected: {why} (due on {_day(words[1])})."
        case Happened.REASON:
            return f"Reason not done, recorded: {words_of(words[0])} (due on {_day(words[1])})."
        case Happened.REPORTED:
            return f"A fault was reported: {sentence(words[0])}" if words else "A fault was reported."
        case Happened.FOUND:
            return f"Finding in {_finding(*words)}"
        case Happened.SEEN_OTHERWISE:
            return f"The finding is seen otherwise: {_finding(*words)}"
        case Happened.HELD:
            return f"Held: {held_in_words(words[0])}. It may not be used."
        case Happened.RELEASED:
            return f"Released for use, with a restriction: {sentence(words[0])}" if words else "Released for use."
        case Happened.REPAIRED:
            return "Repaired."
        case Happened.USED:
            return "Seen in use."
        case Happened.TAKEN_BACK:
            return _taken_back(*words)


def _finding(subsystem: str, severity: str, cause: str, mode: str) -> str:
    said = f"{words_of(subsystem)}: {words_of(severity)}, cause {words_of(cause)}."
    return f"{said} {sentence(mode)}" if mode else said


def _taken_back(thing: str, on: str, said: str, reason: str) -> str:
    gone = f"Taken back: {gone_in_words(thing, dt.date.fromisoformat(on), said)}."
    return f"{gone} Why: {sentence(reason)}" if reason else gone


def _inspected(kind: str, procedure: str, *failed: str) -> str:
    said = f"{words_of(kind).capitalize()} inspection by {procedure or 'a procedure without a name'}."
    return f"{said} Failed: {', '.join(words_of(step) for step in failed)}." if failed else f"{said} Nothing failed."


def _day(text: str) -> str:
    return day_in_words(dt.date.fromisoformat(text))
