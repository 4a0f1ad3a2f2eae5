"""Canonical bytes of a value, after RFC 8785 (JSON Canonicalization Scheme), for what the record writes: objects with
ASCII keys, arrays, text, whole numbers and truth values. Everything else is refused, never coerced: whoever reads an
entry must arrive at the same bytes, and fractions and nulls are where writers of JSON differ."""

from json.encoder import encode_basestring
from typing import Any

LARGEST_INT = 2**53 - 1
# No entry comes near this depth; a value that contains itself does.
DEEPEST = 64


class NotCanonical(ValueError):
    """The value cannot be written. `place` says where, as in `rows[2].note`, and is empty for the outermost value;
    `reason` says why. Keys are named, values never, so the message may be logged."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason
        self._steps: list[str] = []

    def __str__(self) -> str:
        return f"{self.place or 'the value'}: {self.reason}"

    @property
    def place(self) -> str:
        return "".join(reversed(self._steps)).removeprefix(".")

    def inside(self, step: str) -> None:
        """Note that the value refused so far stands at `step` (`.note`, `[2]`) of a larger one."""
        self._steps.append(step)


def canonical_bytes(value: Any) -> bytes:
    """The RFC 8785 bytes of a dict, list, tuple, str, int or bool, at most DEEPEST levels inside each other.

    Raises NotCanonical for a key that is not ASCII text, an int beyond ±(2^53 - 1), a lone surrogate, deeper or
    circular nesting, and any other type, None and float among them."""
    return _text(value, DEEPEST).encode()


def quote(text: str) -> str:
    """`text` as the JSON string that RFC 8785 section 3.2.2.2 asks for, quotation marks included.

    Raises NotCanonical for a lone surrogate."""
    if not text.isascii():
        try:
            text.encode()
        except UnicodeEncodeError:
            raise NotCanonical("a lone surrogate has no UTF-8 form") from None
    return encode_basestring(text)


def _text(value: Any, levels: int) -> str:
    if isinstance(value, str):
        return quote(value)
    # Before int: a bool is one.
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        if not -LARGEST_INT <= value <= LARGEST_INT:
            raise NotCanonical("an integer beyond ±(2^53 - 1) is not exact in every reader")
        return int.__repr__(value)
    if not isinstance(value, dict | list | tuple):
        raise NotCanonical(f"{type(value).__name__} is not written")
    if not levels:
        raise NotCanonical(f"nested deeper than {DEEPEST} levels, or inside itself")
    return _object(value, levels - 1) if isinstance(value, dict) else _array(value, levels - 1)


def _object(members: dict[Any, Any], levels: int) -> str:
    for key in members:
        if not isinstance(key, str) or not key.isascii():
            raise NotCanonical(f"the key {key!a} is not ASCII text")
    written = []
    # The RFC sorts by UTF-16 code units, which for ASCII is the plain order.
    for key in sorted(members):
        try:
            written.append(f"{encode_basestring(key)}:{_text(members[key], levels)}")
        except NotCanonical as refused:
            refused.inside(f".{key}" if key.isidentifier() else f"[{encode_basestring(key)}]")
            raise
    return "{" + ",".join(written) + "}"


def _array(items: list[Any] | tuple[Any, ...], levels: int) -> str:
    written = []
    for position, item in enumerate(items):
        try:
            written.append(_text(item, levels))
        except NotCanonical as refused:
            refused.inside(f"[{position}]")
            raise
    return "[" + ",".join(written) + "]"
