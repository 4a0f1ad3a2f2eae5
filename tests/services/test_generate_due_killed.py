"""A sweep that is killed at any moment and run again loses nothing and doubles nothing."""

import datetime as dt
import os

import pytest

from pmcore.models import SiteSweep
from pmcore.queries.verification import verify
from pmcore.services import append as writer
from pmcore.services import generate_due as sweep
from pmcore.services import inserts, lock, preparation
from tests.cast import AT, Hospital, a_device, a_hospital
from tests.due_cast import a_plan, a_procedure, due_days
from tests.kills import comes_to_its_end

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(not hasattr(os, "fork"), reason="the kill needs a fork"),
]

STEP = 31  # lines from one kill to the next; a prime, so that loops are not met at one place only
WATCHED = {writer, preparation, inserts, lock, sweep}


def swept(hospital: Hospital, as_of: dt.date) -> None:
    sweep.generate_due(site=hospital.alderwick, as_of=as_of, at=AT)


class Sweeps:
    """Each sweep is of the next year, so that there is always as much to write; batches are small, so that kills fall
    between them too."""

    def __init__(self, hospital: Hospital) -> None:
        self.hospital, self.year = hospital, 2026
        others = (a_device(hospital.odile, hospital.model, f"N-{n}", hospital.theatre) for n in range(3))
        self.devices = [hospital.device, *others]
        self.left_whole: set[int] = set()  # how many devices had all that was due, when the kill came

    def kill_and_run_again(self, line: int) -> bool:
        """Whether the sweep was killed; it and the next one have left what one alone would have."""
        as_of = dt.date(self.year, 6, 1)
        due = [f"{each}-06-15" for each in range(2026, self.year + 2)]
        killed = not comes_to_its_end(lambda: swept(self.hospital, as_of), WATCHED, line)
        if killed:
            self.left_whole.add(sum(due_days(device) == due for device in self.devices))
            assert verify().sound
            swept(self.hospital, as_of)
        assert [due_days(device) for device in self.devices] == [due] * len(self.devices)
        assert SiteSweep.objects.get().swept_on == as_of
        self.year += 1
        return killed


def test_a_kill_at_any_line_is_made_good_by_the_next_sweep(monkeypatch: pytest.MonkeyPatch) -> None:
    hospital = a_hospital()
    a_plan(hospital, a_procedure())
    sweeps, line = Sweeps(hospital), 1
    monkeypatch.setattr(sweep, "ROWS_AT_ONCE", 6)
    while sweeps.kill_and_run_again(line):
        line += STEP
    for late in range(line - STEP + 1, line):  # the last lines one by one: the mark is moved there
        sweeps.kill_and_run_again(late)
    assert sweeps.left_whole == {0, 2, 4}  # before the first batch, between the two, after the last
    assert line > 12 * STEP
    assert verify().sound
