"""Readers of the history: because it has no gaps and stands in the order of commits, it is also the outbox."""

from collections.abc import Callable, Sequence
from itertools import takewhile

from django.db import transaction

from pmcore.models import Entry, Follower
from pmcore.queries.head import RecordDamaged

AT_ONCE = 2_000


def follow(*, name: str, handle: Callable[[Sequence[Entry]], None], limit: int = AT_ONCE) -> int:
    """Hand the entries after the follower's watermark to `handle`, in order, and move the watermark with what the
    handler wrote: both or neither. How many there were; none also when another worker was quicker.

    Raises RecordDamaged where the next entry is missing: what stands before the gap was handed over, what stands after
    it is not. Raises what the handler raises; the entries then come again.
    """
    follower, _ = Follower.objects.get_or_create(name=name)
    found = list(Entry.objects.filter(seq__gt=follower.seen).order_by("seq")[:limit])
    if not found:
        return 0
    expected = follower.seen + 1
    entries = [entry for _, entry in takewhile(lambda pair: pair[0] == pair[1].seq, enumerate(found, expected))]
    if not entries:
        raise RecordDamaged(f"Entry {expected} is missing, the next one is {found[0].seq}: {name} stops before it.")
    with transaction.atomic():
        if not Follower.objects.filter(name=name, seen=follower.seen).update(seen=entries[-1].seq):
            return 0
        handle(entries)
    return len(entries)
