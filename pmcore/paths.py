"""Parts of addresses that pages and interface share."""


class RecordKey:
    """The id of something recorded: what is longer than any id names nothing."""

    regex = "[1-9][0-9]{0,17}"

    def to_python(self, value: str) -> int:
        return int(value)

    def to_url(self, value: int) -> str:
        return str(value)
