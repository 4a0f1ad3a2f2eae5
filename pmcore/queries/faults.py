"""What a verification finds."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that does not match: what is wrong, with which entry, and in which row."""

    code: str
    says: str
    seq: int | None = None

    def __str__(self) -> str:
        return self.says


@dataclass(slots=True)
class Report:
    """What a verification found. `root` is the root over the leaves as they are stored, in hexadecimal."""

    size: int = 0
    rows: int = 0
    texts: int = 0
    root: str = ""
    faults: list[Fault] = field(default_factory=list)

    @property
    def sound(self) -> bool:
        return not self.faults

    def fault(self, code: str, says: str, seq: int | None = None) -> None:
        """`says` may quote what is stored: no character of it can end a line, move the cursor or fail to print."""
        self.faults.append(Fault(code, "".join(c if c.isprintable() else ascii(c)[1:-1] for c in says), seq))
