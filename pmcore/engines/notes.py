"""Signed notes and checkpoints as text, in the form that C2SP describes (signed-note and tlog-checkpoint, from memory).
What signs and checks is elsewhere; this says which bytes are signed and how a signature is written.

A note is a text, an empty line, and a line for the signature. A checkpoint is the text of a head: who signs, the size,
the root in base64, and here the moment of the last entry that the size counts."""

import hashlib
from base64 import b64encode

ED25519 = b"\x01"


def key_name(public_key: bytes) -> str:
    """The name under which a history signs; another key is another name."""
    return f"pmcore-history-{hashlib.sha256(public_key).hexdigest()[:16]}"


def key_line(public_key: bytes) -> str:
    """Name, key id and key, as whoever checks takes them."""
    name = key_name(public_key)
    return f"{name}+{_key_id(name, public_key).hex()}+{b64encode(ED25519 + public_key).decode()}"


def fingerprint(public_key: bytes) -> str:
    """SHA-256 of the 32 bytes, in hexadecimal: short enough to be read to somebody."""
    return hashlib.sha256(public_key).hexdigest()


def checkpoint(public_key: bytes, size: int, root: bytes, at: str) -> str:
    """The text of a head. `at`: the moment as bodies write it, `2026-10-31T07:00:00Z`."""
    return f"{key_name(public_key)}\n{size}\n{b64encode(root).decode()}\nat {at}\n"


def signed(text: str, public_key: bytes, signature: bytes) -> str:
    """The note from a text that ends with a line break, and the signature over exactly its bytes."""
    name = key_name(public_key)
    packed = b64encode(_key_id(name, public_key) + signature).decode()
    return f"{text}\n\u2014 {name} {packed}\n"


def _key_id(name: str, public_key: bytes) -> bytes:
    return hashlib.sha256(name.encode() + b"\n" + ED25519 + public_key).digest()[:4]
