"""Expand a million rules over 24 months, beside the peers that are at hand: python -m tests.benchmarks.bench_due_dates

The limit is a plain C loop that does the same work in one pass and writes the same two arrays, already mapped: what the
system takes to hand out fresh memory varies too much from run to run to measure against. Slow peers run on a random
sample of the same rules and are scaled by the number of rules; the table says how many ran.
"""

import ctypes
import platform
import shutil
import statistics
import subprocess
import tempfile
import time
import tracemalloc
from calendar import monthrange
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import numpy as np
from dateutil.relativedelta import relativedelta
from dateutil.rrule import MONTHLY, rrule

from pmcore.engines.due_dates import IntervalRule, Window, occurrences, occurrences_many
from pmcore.engines.vocabulary import Basis, Unit

START, END = date(2026, 3, 10), date(2028, 3, 9)
SHAPES = {1: 460_000, 3: 300_000, 6: 200_000, 12: 40_000}  # months: rules, 14.3 million due dates together
ROUNDS = 7
SEED = 20261031

KERNEL = r"""
#include <stdint.h>
/* Proleptic Gregorian day number to month number and day of the month, both from 0, counted from 1970-01-01. */
static void month_and_day(int64_t days, int64_t *month, int64_t *day) {
    int64_t z = days + 719468, era = (z >= 0 ? z : z - 146096) / 146097;
    uint32_t doe = (uint32_t)(z - era * 146097);
    uint32_t yoe = (doe - doe / 1460 + doe / 36524 - doe / 146096) / 365;
    uint32_t doy = doe - (365 * yoe + yoe / 4 - yoe / 100), mp = (5 * doy + 2) / 153;
    *day = doy - (153 * mp + 2) / 5;
    *month = (yoe + era * 400 - 1970) * 12 + mp + 2;
}
int64_t expand(int64_t every, const int64_t *anchors, int64_t rows, int64_t start, int64_t end,
               const int64_t *begins, int64_t first, int64_t months, int64_t *row, int64_t *due) {
    int64_t made = 0;
    for (int64_t r = 0; r < rows; r++) {
        int64_t month, day;
        month_and_day(anchors[r], &month, &day);
        int64_t at = month - first;
        if (at < 0) at = (every - (-at) % every) % every;
        for (; at < months; at += every) {
            int64_t length = begins[at + 1] - begins[at];
            int64_t on = begins[at] + (day < length ? day : length - 1);
            if (on < start || on > end) continue;
            row[made] = r;
            due[made++] = on;
        }
    }
    return made;
}
"""

Result = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Peer:
    name: str
    run: Callable[[int, np.ndarray], int]  # months and anchors to the number of due dates made
    rules: int = sum(SHAPES.values())


def anchors_of_each_shape() -> dict[int, np.ndarray]:
    rng = np.random.default_rng(SEED)
    begin = np.datetime64(START, "D") - 730
    return {every: begin + rng.integers(0, 730, rows) for every, rows in SHAPES.items()}


def compiled_kernel(folder: Path) -> Callable[..., int] | None:
    compiler = shutil.which("gcc")
    if compiler is None:
        return None
    source, library = folder / "kernel.c", folder / "kernel.so"
    source.write_text(KERNEL)
    options = ["-O3", "-march=native", "-shared", "-fPIC"]
    subprocess.run([compiler, *options, str(source), "-o", str(library)], check=True)
    kernel = ctypes.CDLL(str(library)).expand
    kernel.restype = ctypes.c_int64
    return kernel


class InC:
    """The kernel, writing into arrays that the system has already mapped, or into fresh ones as the engine does."""

    def __init__(self, kernel: Callable[..., int], mapped: bool) -> None:
        self.kernel = kernel
        self.begins = (
            np.arange(np.datetime64(START, "M"), np.datetime64(END, "M") + 2).astype("datetime64[D]").view("i8")
        )
        self.mapped = self.fresh(1, max(SHAPES.values())) if mapped else None
        if self.mapped:
            for array in self.mapped:
                array.fill(0)

    def fresh(self, every: int, rows: int) -> Result:
        size = rows * ((len(self.begins) - 1) // every + 1)
        return np.empty(size, np.int64), np.empty(size, np.int64)

    def expand(self, every: int, anchors: np.ndarray) -> Result:
        row, due = self.mapped or self.fresh(every, len(anchors))
        first = int(np.datetime64(START, "M").astype(np.int64))
        numbers = [int(np.datetime64(day, "D").astype(np.int64)) for day in (START, END)]
        whole = ctypes.c_int64
        made = self.kernel(
            whole(every),
            ctypes.c_void_p(anchors.ctypes.data),
            whole(len(anchors)),
            *map(whole, numbers),
            ctypes.c_void_p(self.begins.ctypes.data),
            whole(first),
            whole(len(self.begins) - 1),
            ctypes.c_void_p(row.ctypes.data),
            ctypes.c_void_p(due.ctypes.data),
        )
        return row[:made], due[:made]

    def run(self, every: int, anchors: np.ndarray) -> int:
        return len(self.expand(every, anchors)[0])


def engine(every: int, anchors: np.ndarray) -> int:
    return len(occurrences_many(every, Unit.MONTH, anchors, START, END)[0])


def engine_one_by_one(every: int, anchors: np.ndarray) -> int:
    rule = IntervalRule(every, Unit.MONTH, Basis.ANCHORED, Window.days(0, 0))
    return sum(len(occurrences(rule, anchor, START, END)) for anchor in anchors.tolist())


def standard_library(every: int, anchors: np.ndarray) -> int:
    made = []
    for row, anchor in enumerate(anchors.tolist()):
        month = anchor.year * 12 + anchor.month - 1
        behind = max(0, START.year * 12 + START.month - 1 - month)
        month += behind // every * every
        while True:
            year, in_year = divmod(month, 12)
            due_on = date(year, in_year + 1, min(anchor.day, monthrange(year, in_year + 1)[1]))
            if due_on > END:
                break
            if due_on >= START:
                made.append((row, due_on))
            month += every
    return len(made)


def with_relativedelta(every: int, anchors: np.ndarray) -> int:
    made = []
    for row, anchor in enumerate(anchors.tolist()):
        behind = max(0, (START.year - anchor.year) * 12 + START.month - anchor.month)
        step = behind // every
        while (due_on := anchor + relativedelta(months=every * step)) <= END:
            if due_on >= START:
                made.append((row, due_on))
            step += 1
    return len(made)


def with_rrule(every: int, anchors: np.ndarray) -> int:
    """Makes fewer dates, because it skips months that are too short."""
    start, end = datetime(START.year, START.month, START.day), datetime(END.year, END.month, END.day)  # noqa: DTZ001
    made = []
    for row, anchor in enumerate(anchors.tolist()):
        begin = datetime(anchor.year, anchor.month, anchor.day)  # noqa: DTZ001
        dates = rrule(MONTHLY, interval=every, dtstart=begin).between(start, end, inc=True)
        made.extend((row, moment.date()) for moment in dates)
    return len(made)


def seconds_for_all(peer: Peer, anchors: dict[int, np.ndarray]) -> tuple[float, int]:
    """Seconds for a million rules, scaled from those that ran, and the due dates made."""
    share = peer.rules / sum(SHAPES.values())
    samples = {every: days[: round(len(days) * share)] for every, days in anchors.items()}
    begin = time.perf_counter()
    made = sum(peer.run(every, days) for every, days in samples.items())
    return (time.perf_counter() - begin) / share, made


def check_alike(kernel: InC, anchors: dict[int, np.ndarray]) -> None:
    for every, days in anchors.items():
        row, due_on = occurrences_many(every, Unit.MONTH, days, START, END)
        other_row, other_due = kernel.expand(every, days)
        if not (np.array_equal(row, other_row) and np.array_equal(due_on.view("i8"), other_due)):
            raise SystemExit(f"engine and kernel disagree on every {every} months")


def megabytes_beside_the_result(anchors: dict[int, np.ndarray]) -> float:
    beside = []
    for every, days in anchors.items():
        tracemalloc.start()
        row, due_on = occurrences_many(every, Unit.MONTH, days, START, END)
        beside.append(tracemalloc.get_traced_memory()[1] - row.nbytes - due_on.nbytes)
        tracemalloc.stop()
    return max(beside) / 1e6


def print_table(peers: list[Peer], seconds: dict[str, list[float]], made: dict[str, int], limit: str) -> None:
    medians = {name: statistics.median(values) for name, values in seconds.items()}
    engine_time, limit_time = medians["engine, arrays"], medians.get(limit)
    print(f"{'':32} {'rules run':>10} {'dates made':>11} {'s/million':>10} {'x limit':>9} {'x engine':>9}")
    for peer in peers:
        median = medians[peer.name]
        to_limit = f"{median / limit_time:9.2f}" if limit_time else "  unknown"
        counts = f"{peer.rules:>10,} {made[peer.name]:>11,}"
        print(f"{peer.name:32} {counts} {median:>10.3f} {to_limit} {median / engine_time:9.2f}")


def main() -> None:
    anchors = anchors_of_each_shape()
    peers = [
        Peer("engine, arrays", engine),
        Peer("engine, one by one", engine_one_by_one, 10_000),
        Peer("standard library loop", standard_library, 20_000),
        Peer("dateutil relativedelta", with_relativedelta, 2_500),
        Peer("dateutil rrule", with_rrule, 2_500),
    ]
    limit = "C loop, mapped arrays"
    with tempfile.TemporaryDirectory() as folder:
        kernel = compiled_kernel(Path(folder))
        if kernel:
            mapped, fresh = InC(kernel, mapped=True), InC(kernel, mapped=False)
            check_alike(fresh, anchors)
            peers = [Peer(limit, mapped.run), Peer("C loop, fresh arrays", fresh.run), *peers]
        else:
            print("no C compiler here: the limit is not measured")
        seconds: dict[str, list[float]] = {peer.name: [] for peer in peers}
        made: dict[str, int] = {}
        for _ in range(ROUNDS):
            for peer in peers:
                taken, made[peer.name] = seconds_for_all(peer, anchors)
                seconds[peer.name].append(taken)
    print(f"{sum(SHAPES.values()):,} rules, {START} to {END}; medians of {ROUNDS} interleaved rounds, seed {SEED}")
    print(f"Python {platform.python_version()}, numpy {np.__version__}, {platform.machine()}")
    print_table(peers, seconds, made, limit)
    print(f"memory beside the result, at most: {megabytes_beside_the_result(anchors):.1f} MB")


if __name__ == "__main__":
    main()
