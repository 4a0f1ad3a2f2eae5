"""The files of an export, written line by line and hashed as they are written."""

import hashlib
import os
import shutil
import zipfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from pmcore.engines.canonical import canonical_bytes
from pmcore.engines.merkle import Edge
from pmcore.models import SignedHead
from pmcore.queries.bodies import moment_text, text_digest
from pmcore.queries.columns import moment_wire
from pmcore.queries.exported_csv import CSV_HEADING
from pmcore.queries.exported_run import Run
from pmcore.queries.exports import FILES, ExportScope
from pmcore.queries.head import RecordDamaged
from pmcore.queries.raw import TextRow
from pmcore.services.signing import Signer

_GIVEN_ALONG = Path(__file__).resolve().parents[1] / "export_pack"
_FORMAT = "pmcore-history-export-1"
_MANIFEST_TITLE = "pmcore export manifest"
_CAUTION = (
    "An aid. The maker's instructions, local codes and licensed practice govern every decision about equipment. "
    "Entries outside the scope are shown by their hashes alone; that none inside it was left out is the statement of "
    "whoever signed this, unless the scope is the whole history."
)
_BEGAN = (1980, 1, 1, 0, 0, 0)  # the same in every pack: the earliest that a zip can say
_CHUNK = 2**20


class _Hashed:
    """A file that knows its size and hash."""

    def __init__(self, path: Path) -> None:
        self.size, self._digest, self._file = 0, hashlib.sha256(), path.open("xb")

    def write(self, data: bytes) -> None:
        self.size += len(data)
        self._digest.update(data)
        self._file.write(data)

    def close(self) -> None:
        self._file.close()

    def told(self) -> dict[str, Any]:
        return {"bytes": self.size, "sha256": self._digest.hexdigest()}


class ExportFiles:
    """The four files that grow with the history. A run is hashed and written beside the reading of the next one."""

    def __init__(self, folder: Path) -> None:
        names = ("history.ndjson", "history.csv", "texts.ndjson", "leaves.bin")
        self.files = {name: _Hashed(folder / name) for name in names}
        self.entries = self.first_seq = self.last_seq = self.given = self.redacted = 0
        self._edge = Edge.empty()
        self._beside = ThreadPoolExecutor(1)
        self._writing = self._beside.submit(self._put, {"history.csv": f"\ufeff{CSV_HEADING}\r\n".encode()})  # UTF-8

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._beside.shutdown()
        for file in self.files.values():
            file.close()
        if error is None:
            self._writing.result()

    @property
    def root(self) -> bytes:
        return self._edge.root()

    def write(self, run: Run) -> None:
        self._edge = run.added(self._edge)
        given = [_text_line(text) for text in run.texts if text.words is not None]
        self.given, self.redacted = self.given + len(given), self.redacted + len(run.texts) - len(given)
        if run.seqs:
            self.entries += len(run.seqs)
            self.first_seq, self.last_seq = self.first_seq or run.seqs[0], run.seqs[-1]
        parts = {"leaves.bin": run.leaves, "texts.ndjson": b"".join(given)}
        self._writing.result()  # of the run before
        self._writing = self._beside.submit(self._put, {**parts, "history.ndjson": run.ndjson, "history.csv": run.csv})

    def _put(self, parts: dict[str, bytes]) -> None:
        for name, data in parts.items():
            self.files[name].write(data)


def _text_line(text: TextRow) -> bytes:
    """Raises RecordDamaged for words that are not what was recorded."""
    try:
        fits = text_digest(text.salt, text.words) == text.digest
    except (TypeError, ValueError, AttributeError):
        fits = False
    if not fits:
        raise RecordDamaged(f"A text of entry {text.id} is not what was recorded.")
    told = {"digest": text.digest, "entry": text.id, "salt": text.salt.hex(), "words": text.words}
    return canonical_bytes(told) + b"\n"


def write_pack(
    folder: Path, files: ExportFiles, scope: ExportScope, signed: SignedHead, signer: Signer
) -> dict[str, Any]:
    """The zip with everything that a verification needs, and what the export's job answers. It is not compressed, so
    that the same files give the same bytes on every machine."""
    small = {name: (_GIVEN_ALONG / name).read_bytes() for name in ("README.txt", "verify_export.py")}
    small |= {"head.txt": signed.note.encode(), "public-key.txt": signer.key_line.encode() + b"\n"}
    told = {name: files.files[name].told() for name in ("history.ndjson", "texts.ndjson", "leaves.bin")}
    told |= {name: {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()} for name, data in small.items()}
    manifest = canonical_bytes(_manifest(files, scope, signed, told))
    text = f"{_MANIFEST_TITLE}\n{hashlib.sha256(manifest).hexdigest()}\n"
    small |= {"manifest.json": manifest, "manifest.signed": signer.note(text).encode()}
    with ThreadPoolExecutor() as disk:  # which takes as long as the rest
        synced = [disk.submit(_sync, folder / FILES[name]) for name in ("ndjson", "csv")]
        _zip(folder, small, told)
        synced.append(disk.submit(_sync, folder / FILES["pack"]))
        measured = {name: files.files[FILES[name]].told() for name in ("ndjson", "csv")}
        measured["pack"] = _measured(folder / FILES["pack"])
        for each in synced:
            each.result()
    for name in ("texts.ndjson", "leaves.bin"):  # they stand in the pack
        (folder / name).unlink()
    return {"entries": files.entries, "root": bytes(signed.root).hex(), "files": measured}


def _manifest(files: ExportFiles, scope: ExportScope, signed: SignedHead, told: dict[str, Any]) -> dict[str, Any]:
    ends = {"first_seq": files.first_seq, "last_seq": files.last_seq} if files.entries else {}
    return {
        **ends,
        "beside": {"history.csv": files.files["history.csv"].told()},
        "caution": _CAUTION,
        "entries": files.entries,
        "files": told,
        "format": _FORMAT,
        "head": {
            "at": moment_text(moment_wire(signed.at)),
            "root": bytes(signed.root).hex(),
            "size": signed.size,
        },
        "scope": scope.told(),
        "texts": {"given": files.given, "redacted": files.redacted},
    }


def _zip(folder: Path, small: dict[str, bytes], told: dict[str, Any]) -> None:
    path = folder / FILES["pack"]
    with zipfile.ZipFile(path, "x", zipfile.ZIP_STORED) as pack:
        for name in sorted({*small, *told}):
            info = zipfile.ZipInfo(name, _BEGAN)
            info.create_system, info.external_attr = 3, 0o100644 << 16
            info.file_size = len(small[name]) if name in small else told[name]["bytes"]
            with pack.open(info, "w") as member:
                if name in small:
                    member.write(small[name])
                else:
                    with (folder / name).open("rb") as file:
                        shutil.copyfileobj(file, member, _CHUNK)


def _sync(path: Path) -> None:
    with path.open("rb") as file:
        os.fsync(file.fileno())


def _measured(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return {"bytes": path.stat().st_size, "sha256": digest}
