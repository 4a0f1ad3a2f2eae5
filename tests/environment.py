"""Loaded before Django reads its settings: every run of the tests keeps its files in a folder of its own."""

import atexit
import os
import shutil
import tempfile

from hypothesis import settings

if not os.environ.get("PMCORE_DATA", "").strip():
    # The workers inherit the variable, so that they make no folder and remove none.
    os.environ["PMCORE_DATA"] = tempfile.mkdtemp(prefix="pmcore-tests-")  # made with mode 0700
    atexit.register(shutil.rmtree, os.environ["PMCORE_DATA"], ignore_errors=True)

# The same examples in every run; `--hypothesis-profile search` looks for new ones.
settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("search", deadline=None, max_examples=1_000)
settings.load_profile("ci")
