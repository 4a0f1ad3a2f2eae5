"""Ten kinds of tampering with an unpacked export. Each takes the files by name and chance, and changes the files."""

import hashlib
import json
import random
from base64 import b64decode, b64encode
from collections.abc import Callable

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from pmcore.engines import notes
from pmcore.engines.merkle import leaf_hash, root

Files = dict[str, bytes]
LINES = ("history.ndjson", "texts.ndjson")
LIE = b"Whoever reads this sees other words."


def flipped(data: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(data))
    return data[:at] + bytes([data[at] ^ 1 << chance.randrange(8)]) + data[at + 1 :]


def bits_of_bodies(files: Files, chance: random.Random) -> None:
    files["history.ndjson"] = flipped(files["history.ndjson"], chance)


def lines_moved(files: Files, chance: random.Random) -> None:
    name = chance.choice(LINES)
    lines = files[name].splitlines(keepends=True)
    at, other = chance.sample(range(len(lines)), 2)
    match chance.randrange(4):
        case 0:
            del lines[at]
        case 1:
            lines.insert(other, lines[at])
        case 2:
            lines[at], lines[other] = lines[other], lines[at]
        case _:
            lines[at] = lines[at].rstrip(b"\n")
    files[name] = b"".join(lines)


def leaves_changed(files: Files, chance: random.Random) -> None:
    """Also together with the body whose leaf it is, so that these two agree."""
    leaves, lines = bytearray(files["leaves.bin"]), files["history.ndjson"].splitlines()
    at, other = chance.sample(range(len(lines)), 2)
    match chance.randrange(4):
        case 0:
            leaves = bytearray(flipped(bytes(leaves), chance))
        case 1:
            one, two = slice(32 * at, 32 * at + 32), slice(32 * other, 32 * other + 32)
            leaves[one], leaves[two] = leaves[two], leaves[one]
        case 2:
            lines[at] = json_of({**json.loads(lines[at]), "role": "auditor"})
            leaves[32 * at : 32 * at + 32] = leaf_hash(lines[at])
            files["history.ndjson"] = b"".join(line + b"\n" for line in lines)
        case _:
            leaves = leaves[:-32]
    files["leaves.bin"] = bytes(leaves)


def another_head(files: Files, chance: random.Random) -> None:
    lines = files["head.txt"].decode().split("\n")
    match chance.randrange(5):
        case 0:
            lines[1] = str(int(lines[1]) + chance.choice([-1, 1]))
        case 1:
            lines[2] = b64encode(flipped(b64decode(lines[2]), chance)).decode()
        case 2:
            lines[3] = "at 2026-10-30T07:00:00Z"
        case 3:
            packed = lines[5].split(" ")
            lines[5] = " ".join([*packed[:2], b64encode(flipped(b64decode(packed[2]), chance)).decode()])
        case _:
            files["head.txt"] = flipped(files["head.txt"], chance)
            return
    files["head.txt"] = "\n".join(lines).encode()


def made_anew(files: Files, chance: random.Random) -> None:
    """An entry is changed, and everything is computed and signed again by another key: sound in itself."""
    lines = files["history.ndjson"].splitlines()
    at = chance.randrange(len(lines))
    lines[at] = json_of({**json.loads(lines[at]), "role": "auditor"})
    leaves = [leaf_hash(line) for line in lines]
    private = Ed25519PrivateKey.from_private_bytes(chance.randbytes(32))
    public = private.public_key().public_bytes_raw()

    def note(text: str) -> bytes:
        return notes.signed(text, public, private.sign(text.encode())).encode()

    manifest = json.loads(files["manifest.json"])
    manifest["head"]["root"] = root(leaves).hex()
    text = notes.checkpoint(public, len(leaves), root(leaves), manifest["head"]["at"])
    files["history.ndjson"] = b"".join(line + b"\n" for line in lines)
    files |= {"leaves.bin": b"".join(leaves), "head.txt": note(text)}
    files["public-key.txt"] = notes.key_line(public).encode() + b"\n"
    for name in manifest["files"]:
        manifest["files"][name] = told(files[name])
    files["manifest.json"] = json_of(manifest)
    files["manifest.signed"] = note(f"pmcore export manifest\n{digest(files['manifest.json'])}\n")


def manifest_lies(files: Files, chance: random.Random) -> None:
    """Some by somebody who also says so in the signed note, but cannot sign it."""
    manifest = json.loads(files["manifest.json"])
    match chance.randrange(6):
        case 0:
            manifest["entries"] += 1
        case 1:
            manifest["scope"]["from"] = "2026-01-01"
        case 2:
            manifest["scope"]["sites"] = [1]
        case 3:
            manifest["texts"]["redacted"] += 1
        case 4:
            del manifest["files"][chance.choice(sorted(manifest["files"]))]
        case _:
            manifest[chance.choice(sorted(manifest))] = None
    before, files["manifest.json"] = digest(files["manifest.json"]), json_of(manifest)
    if chance.random() < 0.5:
        after = digest(files["manifest.json"])
        files["manifest.signed"] = files["manifest.signed"].replace(before.encode(), after.encode())


def files_cut(files: Files, chance: random.Random) -> None:
    name = chance.choice(sorted(files))
    if chance.random() < 0.2:
        del files[name]
    else:
        files[name] = files[name][: chance.randrange(len(files[name]))]


def not_canonical(files: Files, chance: random.Random) -> None:
    """The same value in other bytes, or what the history never writes."""
    name = chance.choice([*LINES, "manifest.json"])
    lines = files[name].split(b"\n")
    at = chance.randrange(len(lines) - (name != "manifest.json"))
    value, line = json.loads(lines[at]), lines[at]
    lines[at] = chance.choice(
        [
            line.replace(b":", b": ", 1),
            b" " + line,
            line + b"\r",
            json.dumps(dict(reversed(value.items())), separators=(",", ":"), ensure_ascii=False).encode(),
            line.replace(b'"', b'"\\u0061', 1),
            b'{"a":1,' + line[1:],
            line[:-1] + b',"zz":1.0}',
            line[:-1] + b',"zz":null}',
            line[:-1] + b',"zz":1e400}',
            line[:-1] + b',"zz":NaN}',
            line[:-1] + b',"zz":' + b"9" * 5000 + b"}",
            line[:-1] + b',"zz":' + b"[" * 100_000 + b"}",
            line[:-1] + b',"zz":"\\ud800"}',
            line[:-1] + b',"zz":"\xff"}',
            b"\xef\xbb\xbf" + line,
            line + line,
        ]
    )
    files[name] = b"\n".join(lines)


def twins(files: Files, chance: random.Random) -> None:
    """Characters that look the same, and are others."""
    name = chance.choice([*LINES, "manifest.json"])
    text = files[name].decode()
    pairs = {"e": "\u0435", "a": "\u0430", "o": "\u03bf", "1": "\uff11", "-": "\u2010", " ": "\u00a0", "i": "i\u200b"}
    letter = chance.choice([letter for letter in pairs if letter in text])
    at = chance.choice([at for at, each in enumerate(text) if each == letter])
    files[name] = (text[:at] + pairs[letter] + text[at + 1 :]).encode()


def texts_altered(files: Files, chance: random.Random) -> None:
    lines = files["texts.ndjson"].splitlines()
    at = chance.randrange(len(lines))
    value = json.loads(lines[at])
    match chance.randrange(5):
        case 0:
            value["words"] = LIE.decode()
        case 1:
            value["salt"] = flipped(bytes.fromhex(value["salt"]), chance).hex()
        case 2:
            value["words"] = LIE.decode()
            value["digest"] = hashlib.sha256(bytes.fromhex(value["salt"]) + LIE).hexdigest()
        case 3:
            value["entry"] += 1
        case _:  # the first letter of the words becomes the end of the salt
            value["salt"], value["words"] = value["salt"] + value["words"][:1].encode().hex(), value["words"][1:]
    lines[at] = json_of(value)
    files["texts.ndjson"] = b"".join(line + b"\n" for line in lines)


def json_of(value: object) -> bytes:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def told(data: bytes) -> dict[str, object]:
    return {"bytes": len(data), "sha256": digest(data)}


KINDS: dict[str, Callable[[Files, random.Random], None]] = {
    kind.__name__: kind
    for kind in (
        bits_of_bodies, lines_moved, leaves_changed, another_head, made_anew, manifest_lies, files_cut, not_canonical,
        twins, texts_altered,
    )
}  # fmt: skip
