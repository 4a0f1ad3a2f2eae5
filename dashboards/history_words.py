"""The sentences of the page about the history."""

from dashboards.words import day_in_words, in_words
from pmcore.queries.exports import ExportScope, ExportTold
from pmcore.queries.history_page import HistoryPage

STATES = {"waiting": "waiting for a worker", "running": "being made", "done": "done", "failed": "not made"}
_MEGABYTE = 1_000_000


def headline(found: HistoryPage) -> str:
    if not found.size:
        return "The record has no entries yet."
    said = f"The record has {found.size:,} entries"
    verified = found.verified
    if verified is None:
        said += "; nobody has verified it yet"
    elif not verified.sound:
        said += f", and the verification of {day_in_words(verified.ended_at.date())} found faults"
    else:
        which = "all" if verified.size == found.size else f"the first {verified.size:,}"
        said += f"; {which} were verified on {day_in_words(verified.ended_at.date())} and are sound"
    return said + "."


def second_line(found: HistoryPage) -> str:
    if not found.heads:
        return "No head has been signed yet: one is signed within the hour, and with every export."
    newest = found.heads[0]
    at = f"{day_in_words(newest.signed_at.date())}, {newest.signed_at:%H:%M} UTC"
    return f"The last head was signed on {at}, of {newest.size:,} entries. Whoever keeps it can tell later changes."


def scope_in_words(scope: ExportScope, names: dict[int, str]) -> str:
    """What an export is of. `names`: of the sites."""
    parts = [f"the first {scope.known:,} entries"]
    first, last = scope.begins_on, scope.ends_on
    if first is not None:
        parts.append(f"from {day_in_words(first)}" + (" on" if last is None else f" to {day_in_words(last)}"))
    elif last is not None:
        parts.append(f"up to {day_in_words(last)}")
    if scope.sites is not None:
        listed = ", ".join(names.get(site, f"site {site}") for site in scope.sites)
        parts.append(f"at {listed}" if listed else "at no site")
    else:
        parts.append("at all sites")
    return ", ".join(parts)


def how_far(told: ExportTold) -> str:
    if told.state == "failed":
        return told.error
    if told.state != "done":
        return told.progress
    return f"{in_words(told.entries or 0)} entries" if told.entries != 1 else "one entry"


def size_in_words(count: int) -> str:
    return f"{count / _MEGABYTE:,.1f} MB" if count >= _MEGABYTE / 10 else f"{count / 1000:,.1f} kB"
