"""A rack with snakes, as care has it."""

from tests.care.conftest import rack, snake, snakes

__all__ = ["rack", "snake", "snakes"]
