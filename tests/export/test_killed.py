"""A worker that is killed at any line of the building: the next one comes to the same bytes and leaves nothing else."""

import datetime as dt
import os

import pytest

from pmcore import tasks
from pmcore.models import ExportStatement, Job
from pmcore.queries import exported
from pmcore.queries.exports import exports_folder
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services import append, export_files, export_history, jobs
from tests.export.building import NOW, done
from tests.history import small_history
from tests.kills import comes_to_its_end

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(not hasattr(os, "fork"), reason="the kill needs a fork"),
]

STEP = 41  # lines from one kill to the next
WATCHED = {append, export_files, export_history, exported, jobs}


@pytest.fixture(autouse=True)
def data(settings, tmp_path):
    settings.DATA, settings.SIGNING_KEY = tmp_path, tmp_path / "signing-key"


class Builds:
    """The same export, built again and again."""

    def __init__(self, monkeypatch):
        self.now = NOW
        monkeypatch.setattr("pmcore.clock.now", lambda: self.now)
        small_history()
        self.told = done(known=head().size)
        self.files = self.bytes_of()
        self.left = set()  # state of the job when the kill came, and whether the entry stood

    def bytes_of(self):
        return {path.name: path.read_bytes() for path in self.told.folder.iterdir()}

    def kill_and_build_again(self, line):
        """Whether the worker was killed; it and the next one have left what one alone would have."""
        self.now += dt.timedelta(hours=1)
        made = ExportStatement.objects.count()
        jobs.begin_anew(job=self.told.id, at=self.now)
        killed = not comes_to_its_end(lambda: tasks.run_job(self.told.id), WATCHED, line)
        self.left.add((str(Job.objects.get().state), ExportStatement.objects.count() - made))
        self.now += dt.timedelta(hours=1)  # the lease is over
        tasks.run_job(self.told.id)
        assert [path.name for path in exports_folder().iterdir()] == [self.told.folder.name]
        assert self.bytes_of() == self.files
        assert ExportStatement.objects.count() == made + 1
        return killed


def test_a_kill_at_any_line_is_made_good_by_the_next_worker(monkeypatch):
    builds, line = Builds(monkeypatch), 1
    while builds.kill_and_build_again(line):
        line += STEP
    for late in range(line - STEP + 1, line):  # the last lines one by one: the entry is written there
        builds.kill_and_build_again(late)
    assert builds.left == {("waiting", 0), ("running", 0), ("running", 1), ("done", 1)}
    assert line > 10 * STEP
    assert verify().sound
