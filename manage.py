#!/usr/bin/env python3
"""Makes the environment when it is missing, then hands the command to Django."""

import os
import sys

import bootstrap


def main() -> None:
    bootstrap.enter(sys.argv[1:])
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pmcore.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
