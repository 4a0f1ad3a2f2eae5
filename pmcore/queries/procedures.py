"""Which procedures an inspection counts for."""

from collections import defaultdict

from pmcore.models import CoveredProcedure
from pmcore.queries.inspections import CompletedInspection


class Covering:
    """What the sheets of all versions declare to cover, as known at a size of the history: one statement.

    It goes version by version: what a later sheet covers, an inspection by an earlier one does not.
    """

    def __init__(self, known: int) -> None:
        self._covered: dict[int, set[int]] = defaultdict(set)
        rows = CoveredProcedure.objects.known(known).values_list("sheet__version_id", "procedure_id")
        for version, procedure in rows:
            self._covered[version].add(procedure)

    def does(self, done: CompletedInspection, procedure: int) -> bool:
        """Does the inspection count for the procedure: its own, or one that its version's sheet covers?"""
        return done.procedure == procedure or procedure in self._covered.get(done.version, ())
