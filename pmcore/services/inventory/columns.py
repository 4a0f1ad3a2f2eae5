"""The columns of an inventory, and how a file's heading is matched with them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from pmcore.services.inventory.files import DELIMITERS, Cell, UnreadableFile

COLUMNS = (
    "tag", "serial number", "maker", "model", "device class", "revision", "runs on", "site", "area", "known from",
    "in use", "ownership",
)  # fmt: skip
NEEDED = ("serial number", "maker", "model", "site", "area")
LAST_DONE = "last done:"


class BadHeading(UnreadableFile):
    """Columns that are missing, unknown or doubled."""


@dataclass(frozen=True, slots=True)
class Heading:
    """`places`: where each column stands; `procedures`: where a procedure's last days stand, by its name."""

    places: Mapping[str, int]
    procedures: Mapping[str, int]
    width: int

    def cell(self, cells: Sequence[Cell], column: str) -> Cell:
        at = self.places.get(column)
        return cells[at] if at is not None and at < len(cells) else Cell("")


def heading_of(cells: Sequence[Cell], renamed: Mapping[str, str]) -> Heading:
    """`renamed`: our name of a column to the file's. Raises BadHeading, which says everything that is wrong."""
    ours = {plain(theirs): our for our, theirs in renamed.items()}
    places: dict[str, int] = {}
    procedures: dict[str, int] = {}
    wrong = []
    for at, cell in enumerate(cells):
        name = ours.get(plain(cell.text), plain(cell.text))
        if name.startswith(LAST_DONE):
            said = ours.get(plain(cell.text), cell.text).partition(":")[2].strip()
            target, name = procedures, said
        else:
            target = places
        if not name:
            wrong.append(f"column {at + 1} has no name")
        elif target is places and name not in COLUMNS:
            wrong.append(f"{cell.text!r} is no column of ours")
        elif name in target:
            wrong.append(f"{cell.text!r} stands there twice")
        else:
            target[name] = at
    wrong += [f"{theirs!r}, which --map names, is not there" for theirs in _missing(cells, renamed)]
    wrong += [f"{name!r} is missing" for name in NEEDED if name not in places]
    if wrong:
        there = ", ".join(COLUMNS)
        raise BadHeading(
            f"The heading will not do: {'; '.join(wrong)}. The columns are {there}, and “{LAST_DONE} …” with the "
            "name of a procedure. Name others with --map, as in --map 'serial number=S/N'."
        )
    return Heading(places, procedures, len(cells))


def _missing(cells: Sequence[Cell], renamed: Mapping[str, str]) -> list[str]:
    there = {plain(cell.text) for cell in cells}
    return [theirs for theirs in renamed.values() if plain(theirs) not in there]


def plain(name: str) -> str:
    """Capitals, underscores and spaces make no difference."""
    return " ".join(name.replace("_", " ").casefold().split())


def delimiter_finder(given: str | None, renamed: Mapping[str, str]) -> Callable[[str], str]:
    """What divides the heading into the most columns that we know; where that says nothing, it has to be given."""

    def find(heading: str) -> str:
        if given is not None:
            return given
        known = {*COLUMNS, *(plain(theirs) for theirs in renamed.values())}
        counted = {
            sign: sum(plain(part.strip(' "\r\n')) in known for part in heading.split(sign))
            for sign in DELIMITERS.values()
        }
        best = max(counted.values())
        found = [sign for sign, count in counted.items() if count == best]
        if best == 0 or len(found) > 1:
            words = ", ".join(DELIMITERS)
            raise UnreadableFile(
                f"The first line holds no heading of ours, whether {words} divides it: begin with a line that names "
                f"the columns ({', '.join(NEEDED)} …), or say --delimiter and --map."
            )
        return found[0]

    return find
