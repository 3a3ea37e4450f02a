#!/usr/bin/env python3
"""The one door: builds the environment when it is missing, then runs the command."""

import os
import sys

from config import bootstrap


def main() -> None:
    """Enter the project's environment, then hand over to Django."""
    bootstrap.enter_environment()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
