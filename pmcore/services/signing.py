"""The key that signs heads and exports. It lies in a file outside the database, made once for its owner alone."""

import datetime as dt
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.conf import settings

from pmcore.engines import notes
from pmcore.models import Entry, SignedHead
from pmcore.queries.bodies import moment_text
from pmcore.queries.columns import moment_wire
from pmcore.queries.head import BeyondTheHistory, head, root_at


class NoSigningKey(RuntimeError):
    """The key that signs heads cannot be read or made."""


class HistoryRewritten(RuntimeError):
    """The history no longer begins with a head that was signed before: nothing of it is signed."""


@dataclass(frozen=True, slots=True)
class Signer:
    """Signs notes by one key."""

    private: Ed25519PrivateKey
    public: bytes

    @property
    def key_line(self) -> str:
        return notes.key_line(self.public)

    def note(self, text: str) -> str:
        return notes.signed(text, self.public, self.private.sign(text.encode()))


def signer() -> Signer:
    """By the key in `PMCORE_SIGNING_KEY`, else the one in the data folder, made once. Raises NoSigningKey."""
    path = Path(settings.SIGNING_KEY)
    try:
        if not path.exists():
            _make(path)
        key = serialization.load_pem_private_key(path.read_bytes(), password=None)
    except (OSError, ValueError, TypeError) as error:
        raise NoSigningKey(f"The signing key {path.name} cannot be used: {error}") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise NoSigningKey(f"The signing key {path.name} is no Ed25519 key.")
    return Signer(key, key.public_key().public_bytes_raw())


def sign_head(*, size: int, at: dt.datetime) -> SignedHead:
    """The signed head of that size: the one that was kept, or a new one. Raises BeyondTheHistory, RecordDamaged,
    NoSigningKey, HistoryRewritten."""
    by = signer()
    kept = SignedHead.objects.filter(key=by.key_line, size=size).first()
    root, moment = root_at(size), Entry.objects.filter(seq=size).values_list("at", flat=True).first()
    if moment is None:
        raise BeyondTheHistory("An empty history has no head to sign.")
    if kept is not None:
        _check_same(kept, root)
        return kept
    _check_beginning(by.key_line)
    text = notes.checkpoint(by.public, size, root, moment_text(moment_wire(moment)))
    found, _ = SignedHead.objects.get_or_create(
        key=by.key_line,
        size=size,
        defaults={"root": root, "at": moment, "note": by.note(text), "signed_at": at},
    )
    return found


def sign_growth(*, at: dt.datetime) -> SignedHead | None:
    """The head of the whole history, where it grew since one was signed; none where it did not."""
    size = head().size
    if not size or SignedHead.objects.filter(key=signer().key_line, size__gte=size).exists():
        return None
    return sign_head(size=size, at=at)


def _check_beginning(key: str) -> None:
    """The newest head that was signed must still be of this history."""
    newest = SignedHead.objects.filter(key=key).order_by("-size").first()
    if newest is None:
        return
    try:
        root = root_at(newest.size)
    except BeyondTheHistory as error:
        raise HistoryRewritten(f"A head of {newest.size} entries was signed; the history is shorter.") from error
    _check_same(newest, root)


def _check_same(signed: SignedHead, root: bytes) -> None:
    if bytes(signed.root) != root:
        raise HistoryRewritten(f"The root of the first {signed.size} entries is another than the one that was signed.")


def _make(path: Path) -> None:
    """Written aside and linked, so that of two who come first one key is kept, and it is whole."""
    pem = Ed25519PrivateKey.generate().private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    handle, aside = tempfile.mkstemp(dir=path.parent, prefix=".")  # mode 0600
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(pem)
            file.flush()
            os.fsync(file.fileno())
        os.link(aside, path)
    except FileExistsError:
        pass
    finally:
        Path(aside).unlink(missing_ok=True)
