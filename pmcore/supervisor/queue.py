"""The embedded queue as the children find it: empty, and with its queues declared."""

from pathlib import Path

from celery import current_app

from pmcore import filequeue


def prepare(folder: Path) -> None:
    """What waited belonged to workers that are gone: what is not done stands in the database, and a sweep finds it."""
    filequeue.empty(folder)
    with current_app.connection_for_write() as connection:
        connection.default_channel.state.clear()  # what this process declared before is gone
        for queue in current_app.amqp.queues.values():
            queue(connection.default_channel).declare()
