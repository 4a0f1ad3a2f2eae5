"""What became of each due inspection, computed from the record and kept so that figures come quickly. These rows are no
part of the record: they change, and can be thrown away and made again."""

from django.db import models


class KeptStanding(models.Model):
    """`queries.standing_rows.Standing` of one due inspection, as known when the history had `size` entries. Days are
    counted from 1970-01-01, words are their places in their enumerations."""

    due_inspection = models.BigIntegerField(primary_key=True)
    device = models.BigIntegerField()
    plan = models.BigIntegerField()
    site = models.BigIntegerField()
    area = models.BigIntegerField()
    device_class = models.BigIntegerField()
    risk_class = models.SmallIntegerField()
    basis = models.SmallIntegerField()
    anchored = models.SmallIntegerField()
    inspection = models.BigIntegerField()
    opens_on = models.IntegerField()
    due_on = models.IntegerField()
    closes_on = models.IntegerField()
    next_opens_on = models.IntegerField()
    completed_on = models.IntegerField()
    withdrawn_on = models.IntegerField()
    left_on = models.IntegerField()
    left_recorded_on = models.IntegerField()
    sealed_on = models.IntegerField()
    sealed_recorded_on = models.IntegerField()
    unsealed_on = models.IntegerField()
    reason_on = models.IntegerField()
    recorded_on = models.IntegerField()
    previous_on = models.IntegerField()
    latest_on = models.IntegerField()
    moved_on = models.IntegerField()
    size = models.BigIntegerField()

    class Meta:
        indexes = [
            models.Index(fields=["closes_on"], name="keptstanding_closes"),  # the windows that closed in a month
            models.Index(fields=["next_opens_on", "closes_on"], name="keptstanding_overdue"),
            models.Index(fields=["device"], name="keptstanding_device"),  # a device is computed anew
            models.Index(fields=["size"], name="keptstanding_size"),  # what is newer than a reader asks for
        ]

    def __str__(self) -> str:
        return f"the standing of {self.due_inspection} at {self.size}"


class KeptCoverage(models.Model):
    """A stretch of days in which a device was in the inventory, from `from_on` up to `until_on`, which is left out:
    where, of which class (0: nobody said), under a plan, signed to need none. As known at `size`."""

    device = models.BigIntegerField()
    from_on = models.IntegerField()
    until_on = models.IntegerField()
    area = models.BigIntegerField()
    site = models.BigIntegerField()
    device_class = models.BigIntegerField()
    planned = models.SmallIntegerField()
    excused = models.SmallIntegerField()
    size = models.BigIntegerField()

    class Meta:
        indexes = [
            models.Index(fields=["until_on", "from_on", "planned", "excused"], name="keptcoverage_day"),
            models.Index(fields=["device"], name="keptcoverage_device"),
            models.Index(fields=["size"], name="keptcoverage_size"),
        ]

    def __str__(self) -> str:
        return f"device {self.device} in the inventory from {self.from_on} at {self.size}"


class StandingsMark(models.Model):
    """Up to which size of the history the kept standings are complete. `run` counts the runs that bring them up to
    date: the newest one alone may write."""

    size = models.BigIntegerField(default=0)
    run = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return f"standings are kept up to {self.size}"
