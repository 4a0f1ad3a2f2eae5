"""Checks an exported history, offline, with nothing but Python 3.8 or later and its standard library.

    python3 verify_export.py

in the folder of the unpacked export. It ends with one line, VERIFIED or NOT VERIFIED, and with status 0 or 1. Where you
hold more than the export itself, say so, and it is checked too (2: the command was not understood):

    --key FINGERPRINT   the fingerprint of the key, told to you another way than with this export
    --head FILE         a signed head that you kept earlier; this history must begin with that one. May be repeated.
    --folder FOLDER     another folder than the one in which this file lies, for a verifier that came another way.

What is checked: the two signatures (Ed25519, RFC 8032; the form of C2SP signed notes), every file's size and hash
against the signed manifest, the root over all leaf hashes (RFC 6962) against the signed head, every entry's canonical
form (RFC 8785) and leaf hash, its place and day within the scope, and each free text against its salted hash.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple, NoReturn, Tuple

FORMAT = "pmcore-history-export-1"
MANIFEST_TITLE = "pmcore export manifest"
LONGEST_LINE = 64 * 2**20
LARGEST_INT = 2**53 - 1
NDJSON = ("history.ndjson", "texts.ndjson")
OTHERS = ("README.txt", "head.txt", "leaves.bin", "public-key.txt", "verify_export.py")

Point = Tuple[int, int, int, int]


class Signer(NamedTuple):
    name: str
    key_id: bytes
    key: bytes


class Head(NamedTuple):
    size: int
    root: bytes
    moment: str


class NotVerified(Exception):
    """Something is not as it should be; the words say what."""


def demand(holds: object, says: str) -> None:
    if not holds:
        raise NotVerified(says)


# Ed25519, written out from RFC 8032, sections 5.1.1 to 5.1.7. Points are (X, Y, Z, T) with x = X/Z, y = Y/Z, xy = T/Z.

P = 2**255 - 19
L = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P
ROOT_OF_MINUS_1 = pow(2, (P - 1) // 4, P)


def _sum(one: Point, other: Point) -> Point:
    a = (one[1] - one[0]) * (other[1] - other[0]) % P
    b = (one[1] + one[0]) * (other[1] + other[0]) % P
    c, d = 2 * one[3] * other[3] * D % P, 2 * one[2] * other[2] % P
    e, f, g, h = b - a, d - c, d + c, b + a
    return e * f % P, g * h % P, f * g % P, e * h % P


def _times(number: int, point: Point) -> Point:
    found = (0, 1, 1, 0)
    while number:
        if number & 1:
            found = _sum(found, point)
        point = _sum(point, point)
        number >>= 1
    return found


def _x_of(y: int, sign: int) -> int | None:
    """The x of a point from its y; None where there is none."""
    if y >= P:
        return None
    squared = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    if not squared:
        return None if sign else 0
    x = pow(squared, (P + 3) // 8, P)
    if (x * x - squared) % P:
        x = x * ROOT_OF_MINUS_1 % P
    if (x * x - squared) % P:
        return None
    return P - x if x & 1 != sign else x


def _point(data: bytes) -> Point | None:
    number = int.from_bytes(data, "little")
    y = number & (2**255 - 1)
    x = _x_of(y, number >> 255)
    return None if x is None else (x, y, 1, x * y % P)


BASE_Y = 4 * pow(5, P - 2, P) % P
BASE_X = _x_of(BASE_Y, 0) or 0
BASE = (BASE_X, BASE_Y, 1, BASE_X * BASE_Y % P)


def signed_by(key: bytes, message: bytes, signature: bytes) -> bool:
    """Whether these 64 bytes are the signature of the message by this public key of 32 bytes."""
    owner, commitment = _point(key), _point(signature[:32])
    answer = int.from_bytes(signature[32:], "little")
    if owner is None or commitment is None or answer >= L:
        return False
    challenge = int.from_bytes(hashlib.sha512(signature[:32] + key + message).digest(), "little") % L
    left, right = _times(answer, BASE), _sum(commitment, _times(challenge, owner))
    return not (left[0] * right[2] - right[0] * left[2]) % P and not (left[1] * right[2] - right[1] * left[2]) % P


# Canonical JSON: RFC 8785 as the history uses it, with ASCII keys, whole numbers, and neither fractions nor nulls.


def _refuse(text: str) -> NoReturn:
    raise ValueError(text)


_ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))
_DECODER = json.JSONDecoder(parse_float=_refuse, parse_constant=_refuse)


def read_canonical(data: bytes, name: str) -> Any:
    """The value whose canonical bytes these are."""
    try:
        value = _DECODER.decode(data.decode("utf-8"))
        same = isinstance(value, dict) and _ENCODER.encode(value).encode("utf-8") == data
        same = same and _plain(value)
    except (ValueError, RecursionError):
        same = False
    demand(same, name + " is not in canonical form.")
    return value


def _plain(value: Any) -> bool:
    """Whether it holds only what the history writes."""
    if isinstance(value, dict):
        return all(key.isascii() and _plain(each) for key, each in value.items())
    if isinstance(value, list):
        return all(map(_plain, value))
    return isinstance(value, (str, bool)) or (type(value) is int and -LARGEST_INT <= value <= LARGEST_INT)


# Signed notes of C2SP: a text, an empty line, and a line for the signature.


def read_key(data: bytes) -> Signer:
    """Name, key id and key from `name+id+base64`."""
    found = re.fullmatch(r"([!-*,-~]+)\+([0-9a-f]{8})\+([A-Za-z0-9+/=]+)\n", data.decode())
    if not found:
        raise NotVerified("public-key.txt holds no key.")
    name, key_id, packed = found[1], bytes.fromhex(found[2]), _base64(found[3], "public-key.txt")
    demand(len(packed) == 33 and packed[0] == 1, "public-key.txt holds no Ed25519 key.")
    key = packed[1:]
    proper = hashlib.sha256(name.encode() + b"\n\x01" + key).digest()[:4]
    demand(key_id == proper, "public-key.txt contradicts itself.")
    return Signer(name, key_id, key)


def read_note(data: bytes, signer: Signer, name: str) -> list[str]:
    """The lines of a note that the signer signed."""
    text, _, rest = data.decode().rpartition("\n\n")
    found = re.fullmatch("\u2014 ([!-*,-~]+) ([A-Za-z0-9+/=]+)\n", rest)
    if not found:
        raise NotVerified(name + " is no signed note.")
    packed = _base64(found[2], name)
    known = len(packed) == 68 and (found[1], packed[:4]) == (signer.name, signer.key_id)
    demand(known, name + " is not signed by the key in public-key.txt.")
    demand(signed_by(signer.key, text.encode() + b"\n", packed[4:]), name + ": the signature does not fit.")
    return text.split("\n")


def read_head(data: bytes, signer: Signer, name: str) -> Head:
    """Size, root and moment of a signed head."""
    lines = read_note(data, signer, name)
    demand(len(lines) == 4 and lines[0] == signer.name, name + " is no head of this history.")
    demand(re.fullmatch("[1-9][0-9]{0,15}", lines[1]), name + " says no size.")
    demand(re.fullmatch("at [0-9TZ:.-]{20,27}", lines[3]), name + " says no moment.")
    root = _base64(lines[2], name)
    demand(len(root) == 32, name + " says no root.")
    return Head(int(lines[1]), root, lines[3][3:])


def _base64(text: str, name: str) -> bytes:
    try:
        found = base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        found = b""
    demand(base64.b64encode(found).decode() == text, name + " is garbled.")
    return found


def read_file(path: Path, most: int) -> bytes:
    with path.open("rb") as file:
        data = file.read(most + 1)
    demand(len(data) <= most, ascii(path.name) + " is too long.")
    return data


def read_manifest(folder: Path, signer: Signer) -> Any:
    data = read_file(folder / "manifest.json", 2**20)
    lines = read_note(read_file(folder / "manifest.signed", 2**16), signer, "manifest.signed")
    demand(lines == [MANIFEST_TITLE, hashlib.sha256(data).hexdigest()], "manifest.json is not the one that was signed.")
    manifest = read_canonical(data, "manifest.json")
    demand(manifest.get("format") == FORMAT, "manifest.json is of a form that this verifier does not know.")
    demand(sorted(manifest["files"]) == sorted(NDJSON + OTHERS), "manifest.json does not name the files of an export.")
    return manifest


def check_file(name: str, manifest: Any, size: int, digest: str) -> None:
    demand(manifest["files"][name] == {"bytes": size, "sha256": digest}, name + " is not the file of the manifest.")


def node(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\x01" + left + right).digest()


def roots(leaves: bytes, sizes: Iterable[int]) -> dict[int, bytes]:
    """The roots of the trees of the first leaves, for each of the sizes."""
    wanted = set(sizes)
    found: dict[int, bytes] = {}
    edge: list[bytes] = []
    for size in range(len(leaves) // 32 + 1):
        if size:
            joined, complete = leaves[32 * size - 32 : 32 * size], size - 1
            while complete & 1:
                joined, complete = node(edge.pop(), joined), complete >> 1
            edge.append(joined)
        if size in wanted:
            root = edge[-1] if edge else hashlib.sha256(b"").digest()
            for left in reversed(edge[:-1]):
                root = node(left, root)
            found[size] = root
    return found


class Lines:
    """The lines of a file, and its size and hash when all were read."""

    def __init__(self, folder: Path, name: str) -> None:
        self.path, self.name, self.size, self.sha256 = folder / name, name, 0, hashlib.sha256()

    def __iter__(self) -> Iterator[bytes]:
        with self.path.open("rb") as file:
            while True:
                line = file.readline(LONGEST_LINE)
                if not line:
                    return
                self.size += len(line)
                self.sha256.update(line)
                demand(line.endswith(b"\n"), self.name + " ends within a line, or a line is too long.")
                yield line[:-1]

    def check(self, manifest: Any) -> None:
        check_file(self.name, manifest, self.size, self.sha256.hexdigest())


def texts_in(lines: Lines) -> Iterator[tuple[int, str]]:
    """Each free text, checked against its hash."""
    last = (0, "")
    for number, line in enumerate(lines, 1):
        name = f"texts.ndjson, line {number},"
        text = read_canonical(line, name)
        proper = sorted(text) == ["digest", "entry", "salt", "words"] and type(text["entry"]) is int
        demand(proper, name + " is no text.")
        salt = bytes.fromhex(text["salt"])
        demand(len(salt) == 16 and salt.hex() == text["salt"], name + " has no proper salt.")
        digest = hashlib.sha256(salt + text["words"].encode("utf-8")).hexdigest()
        demand(digest == text["digest"], name + " does not fit its hash.")
        demand((text["entry"], digest) > last, name + " is not in its place.")
        last = (text["entry"], digest)
        yield last
    yield (0, "")


class Scope:
    """What the manifest says that the entries are, checked entry by entry."""

    def __init__(self, manifest: Any, size: int) -> None:
        scope = manifest["scope"]
        demand(scope["known"] == size, "The manifest's scope and the head differ.")
        self.first_day, self.last_day = scope.get("from", "0000"), scope.get("to", "9999")
        self.whole = not {"from", "to", "sites"} & set(scope)
        self.size, self.seq, self.first, self.count = size, 0, 0, 0

    def take(self, body: Any, name: str) -> int:
        seq: int = body["seq"]
        demand(type(seq) is int and self.seq < seq <= self.size, name + " is not in its place.")
        demand(not self.whole or seq == self.seq + 1, f"Before {name} an entry is missing.")
        day = str(body.get("at"))[:10]
        demand(self.first_day <= day <= self.last_day, name + " lies outside the days of the export.")
        self.seq, self.count = seq, self.count + 1
        self.first = self.first or seq
        return seq

    def end(self, manifest: Any) -> None:
        demand(self.count == manifest["entries"], f"There are {self.count} entries; the manifest says otherwise.")
        demand(not self.whole or self.count == self.size, "Entries are missing at the end.")
        ends = (manifest.get("first_seq", 0), manifest.get("last_seq", 0))
        demand(ends == (self.first, self.seq), "The manifest says otherwise which entries are first and last.")


def check_entries(folder: Path, manifest: Any, size: int, leaves: bytes) -> tuple[int, int]:
    """How many entries and how many free texts there are."""
    bodies, texts = Lines(folder, "history.ndjson"), Lines(folder, "texts.ndjson")
    scope, stream, given = Scope(manifest, size), texts_in(texts), 0
    entry, digest = next(stream)
    for number, line in enumerate(bodies, 1):
        name = f"history.ndjson, line {number},"
        seq = scope.take(read_canonical(line, name), name)
        leaf = hashlib.sha256(b"\x00" + line).digest()
        demand(leaf == leaves[32 * seq - 32 : 32 * seq], f"{name} is not the entry {seq} of the history.")
        while entry == seq:
            demand(b'"' + digest.encode() + b'"' in line, f"A text of entry {seq} belongs to none of its rows.")
            given += 1
            entry, digest = next(stream)
    demand(not entry, "texts.ndjson holds texts of other entries.")
    scope.end(manifest)
    demand(given == manifest["texts"]["given"], f"There are {given} texts; the manifest says otherwise.")
    bodies.check(manifest)
    texts.check(manifest)
    return scope.count, given


def verify(folder: Path, fingerprints: Sequence[str] = (), heads: Sequence[str] = ()) -> list[str]:
    """Lines for a person, the last one the verdict. Raises NotVerified, and for garbled files other errors too."""
    signer = read_key(read_file(folder / "public-key.txt", 2**16))
    fingerprint = hashlib.sha256(signer.key).hexdigest()
    for wanted in fingerprints:
        demand(wanted.lower() == fingerprint, "The key is another one: its fingerprint is " + fingerprint + ".")
    head = read_head(read_file(folder / "head.txt", 2**16), signer, "head.txt")
    earlier = [read_head(read_file(Path(path), 2**16), signer, ascii(path)) for path in heads]
    manifest = read_manifest(folder, signer)
    told = {"at": head.moment, "root": head.root.hex(), "size": head.size}
    demand(manifest["head"] == told, "The manifest tells of another head.")
    leaves = read_file(folder / "leaves.bin", 32 * head.size)
    demand(len(leaves) == 32 * head.size, "leaves.bin has not one hash for each entry of the history.")
    found = roots(leaves, [each.size for each in (head, *earlier)])
    demand(found[head.size] == head.root, "The leaves do not give the root of the head.")
    for old in earlier:
        demand(found.get(old.size) == old.root, f"The head of size {old.size} is of no beginning of this history.")
    for name in OTHERS:
        data = leaves if name == "leaves.bin" else read_file(folder / name, 2**20)
        check_file(name, manifest, len(data), hashlib.sha256(data).hexdigest())
    count, given = check_entries(folder, manifest, head.size, leaves)
    said = [
        f"Signed head: {head.size} entries, root {head.root.hex()}, of {head.moment}.",
        f"Fingerprint of the key: {fingerprint}",
    ]
    if not fingerprints:
        said.append("Whoever makes everything anew signs with another key: compare the fingerprint with what you know.")
    if earlier:
        said.append(f"The history begins with each of the {len(earlier)} earlier heads that you gave.")
    return [*said, f"VERIFIED: {count} of {head.size} entries and {given} free texts are what the signed head says."]


def asked(arguments: Sequence[str]) -> dict[str, list[str]] | None:
    """The options of the command line, each with all that was said; None: it was not understood."""
    found: dict[str, list[str]] = {"--key": [], "--head": [], "--folder": []}
    if len(arguments) % 2 or not set(arguments[::2]) <= found.keys():
        return None
    for option, value in zip(arguments[::2], arguments[1::2]):
        found[option].append(value)
    return found


def main(arguments: Sequence[str]) -> int:
    options = asked(arguments)
    if options is None or len(options["--folder"]) > 1:
        sys.stderr.write("python3 verify_export.py [--key FINGERPRINT] [--head FILE]... [--folder FOLDER]\n")
        return 2
    try:
        folder = Path(options["--folder"][0]) if options["--folder"] else Path(__file__).resolve().parent
        print("\n".join(verify(folder, options["--key"], options["--head"])))
        return 0
    except NotVerified as fault:
        says = str(fault)
    except OSError as fault:
        says = f"A file cannot be read: {fault.strerror}."
    except Exception as fault:  # whatever is in the files, it ends in a verdict
        says = f"Something is not of the form of an export ({type(fault).__name__})."
    print("NOT VERIFIED: " + ascii(says)[1:-1])
    return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
