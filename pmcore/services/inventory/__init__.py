"""An inventory that comes in as a file: read (`files.py`), checked line by line (`columns.py`, `checked.py`), written
(`bring_in.py`). Bad lines are named; what they say is lost nowhere, for it stays in the file."""
