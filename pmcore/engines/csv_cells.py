"""Cells of a file that a spreadsheet opens, and that do nothing there."""

_BEGINS_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def harmless(cell: object) -> str:
    """The cell as text; what a spreadsheet would run as a formula begins with an apostrophe."""
    text = "" if cell is None else str(cell)
    return f"'{text}" if text.startswith(_BEGINS_FORMULA) else text
