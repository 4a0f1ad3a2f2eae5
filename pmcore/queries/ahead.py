"""A stream that is read up to a bound, and then further."""

from collections.abc import Callable, Iterator
from typing import Any


class Ahead:
    """A stream in the order of `.id`; the next item is always known."""

    def __init__(self, stream: Iterator[Any]) -> None:
        self._stream = stream
        self._next = next(stream, None)

    def upto(self, bound: int) -> Iterator[Any]:
        while self._next is not None and self._next.id <= bound:
            item = self._next
            self._next = next(self._stream, None)
            yield item

    def taken(self, wanted: Callable[[Any], bool]) -> Iterator[Any]:
        """As long as the next one is wanted."""
        while self._next is not None and wanted(self._next):
            item = self._next
            self._next = next(self._stream, None)
            yield item

    def rest(self) -> Iterator[Any]:
        return self.taken(lambda _: True)
