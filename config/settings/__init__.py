"""Settings of one installation, read from the environment (docs/operations.md lists every variable)."""

from config.settings.base import *  # noqa: F403
