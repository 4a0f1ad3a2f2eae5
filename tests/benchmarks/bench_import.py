"""How fast an inventory comes in, beside reading the same file alone.

    python -m tests.benchmarks.bench_import [--lines 20000]

A scratch database is made beside the one in use, and dropped.
"""

import argparse
import csv
import tempfile
import time
from pathlib import Path

from tests.benchmarks.record import Line, scratch_database

HEADING = ("tag", "serial number", "maker", "model", "site", "area", "known from", "last done: Yearly check")


def write_file(path: Path, lines: int) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(HEADING)
        for number in range(lines):
            out.writerow((f"N{number}", f"S{number}", "Orvane", "Marl", "AG", "Theatre 1", "2026-03-04", "2026-02-01"))


def measure(lines: int) -> list[Line]:
    from pmcore.services.inventory.bring_in import Outcome, bring_in
    from pmcore.services.inventory.columns import delimiter_finder, heading_of
    from pmcore.services.inventory.files import read_lines
    from tests.cast import AT, a_hospital, a_procedure

    hospital = a_hospital()
    a_procedure(hospital.odile)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "inventory.csv"
        write_file(path, lines)
        began = time.perf_counter()
        with path.open(newline="", encoding="utf-8") as file:
            count = sum(1 for _ in csv.reader(file)) - 1
        alone = time.perf_counter() - began
        found = []
        for _ in range(2):
            began = time.perf_counter()
            read = read_lines(path, encoding="utf-8", delimiter=delimiter_finder(None, {}))
            heading = heading_of(next(read).cells, {})
            report = bring_in(read, heading, today=AT.date(), order=None, actor=hospital.odile, at=AT, dry_run=False)
            found.append((report, time.perf_counter() - began))
    (first, added), (second, again) = found
    assert count == first.counts[Outcome.ADDED] == second.counts[Outcome.THERE] == lines
    return [
        Line("reading the file alone", lines / alone, "lines/s"),
        Line("bringing it in", lines / added, "lines/s", "as long as reading alone", added / alone),
        Line("the same once more, nothing to add", lines / again, "lines/s", "as long as reading alone", again / alone),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=20_000)
    with scratch_database():
        print(*measure(parser.parse_args().lines), sep="\n")


if __name__ == "__main__":
    main()
