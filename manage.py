#!/usr/bin/env python3
"""Makes the environment when it is missing, then hands the command to Django."""

import os
import sys

import bootstrap


def main() -> None:
    bootstrap.enter(sys.argv[1:])
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pmcore.settings")
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as error:
        sys.exit(str(error))  # it names the setting; where it was read helps nobody


if __name__ == "__main__":
    main()
