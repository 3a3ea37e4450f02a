"""Reading a what-if question: every refusal names the JSON path, what is wrong and the fix."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from datetime import date as day_type
from datetime import datetime


class QuestionError(ValueError):
    """The question cannot be answered as put. ``path`` is a JSON path such as ``$.scans[2].mm``."""

    def __init__(self, path: str, problem: str, fix: str) -> None:
        super().__init__(f"{path}: {problem}. {fix}")
        self.path = path
        self.problem = problem
        self.fix = fix


class NotYetAnswered(Exception):
    """An engine's honest refusal: ``phase`` names the part that it cannot compute yet."""

    def __init__(self, phase: str) -> None:
        super().__init__(f"not yet answered: {phase}")
        self.phase = phase


class Reader:
    """Reads one JSON object key by key; ``done()`` refuses what nobody asked for."""

    def __init__(self, mapping: object, path: str = "$") -> None:
        if not isinstance(mapping, Mapping):
            raise QuestionError(path, "this must be a JSON object", "Write {…} with the documented keys")
        self.path = path
        self._mapping: Mapping[str, object] = mapping
        self._asked: list[str] = []

    def at(self, key: str) -> str:
        """The JSON path of ``key``."""
        return f"{self.path}.{key}"

    def error(self, key: str, problem: str, fix: str) -> QuestionError:
        """An error at ``key``, to be raised by the caller."""
        return QuestionError(self.at(key), problem, fix)

    def has(self, key: str) -> bool:
        """Whether the key is there with a value other than null."""
        self._ask(key)
        return self._mapping.get(key) is not None

    def present(self, key: str) -> bool:
        """Whether the key is there at all, null included."""
        self._ask(key)
        return key in self._mapping

    def raw(self, key: str) -> object:
        """The value as it came, None when absent."""
        self._ask(key)
        return self._mapping.get(key)

    def text(
        self, key: str, *, required: bool = True, choices: Sequence[str] | None = None, default: str | None = None
    ) -> str | None:
        """A non-empty string, one of ``choices`` where given."""
        value = self._value(key, required)
        if value is None:
            return default
        if not isinstance(value, str) or not value.strip():
            raise self.error(key, "this must be a text", "Write a non-empty string")
        if choices is not None and value not in choices:
            near = difflib.get_close_matches(value, choices, n=1)
            hint = f"Did you mean {near[0]!r}? " if near else ""
            raise self.error(key, f"{value!r} is not one of the choices", f"{hint}Choose from {', '.join(choices)}")
        return value.strip()

    def need_text(self, key: str, *, choices: Sequence[str] | None = None) -> str:
        """A required string."""
        value = self.text(key, choices=choices)
        assert value is not None
        return value

    def number(
        self,
        key: str,
        *,
        low: float | None = None,
        high: float | None = None,
        required: bool = True,
        default: float | None = None,
    ) -> float | None:
        """A finite number within [low, high]."""
        value = self._value(key, required)
        if value is None:
            return default
        return self.checked_number(value, self.at(key), low=low, high=high)

    def need_number(self, key: str, *, low: float | None = None, high: float | None = None) -> float:
        """A required number."""
        value = self.number(key, low=low, high=high)
        assert value is not None
        return value

    def integer(
        self,
        key: str,
        *,
        low: int | None = None,
        high: int | None = None,
        required: bool = True,
        default: int | None = None,
    ) -> int | None:
        """A whole number within [low, high]."""
        value = self._value(key, required)
        if value is None:
            return default
        number = self.checked_number(value, self.at(key), low=low, high=high)
        if number != int(number):
            raise self.error(key, f"{value!r} is not a whole number", "Write a whole number")
        return int(number)

    def flag(self, key: str, default: bool = False) -> bool:
        """true or false."""
        value = self._value(key, required=False)
        if value is None:
            return default
        if not isinstance(value, bool):
            raise self.error(key, "this must be true or false", "Write true or false without quotes")
        return value

    def date(self, key: str, *, required: bool = True, default: day_type | None = None) -> day_type | None:
        """A calendar date, ISO 8601."""
        value = self._value(key, required)
        if value is None:
            return default
        try:
            if not isinstance(value, str) or len(value) != 10:
                raise ValueError
            return day_type.fromisoformat(value)
        except ValueError:
            raise self.error(key, f"{value!r} is not a date", "Write it as 2027-04-06") from None

    def need_date(self, key: str) -> day_type:
        """A required date."""
        value = self.date(key)
        assert value is not None
        return value

    def moment(self, key: str, *, required: bool = True, default: datetime | None = None) -> datetime | None:
        """A date-time with its offset, ISO 8601."""
        value = self._value(key, required)
        if value is None:
            return default
        try:
            if not isinstance(value, str):
                raise ValueError
            moment = datetime.fromisoformat(value)
        except ValueError:
            raise self.error(key, f"{value!r} is not a date-time", "Write it as 2027-04-06T17:00:00+00:00") from None
        if moment.tzinfo is None:
            raise self.error(key, "the offset is missing", "Write it as 2027-04-06T17:00:00+00:00")
        return moment

    def need_moment(self, key: str) -> datetime:
        """A required date-time."""
        value = self.moment(key)
        assert value is not None
        return value

    def child(self, key: str, required: bool = True) -> Reader | None:
        """A nested object."""
        value = self._value(key, required)
        return None if value is None else Reader(value, self.at(key))

    def need_child(self, key: str) -> Reader:
        """A required nested object."""
        value = self.child(key)
        assert value is not None
        return value

    def children(self, key: str, required: bool = True) -> list[Reader]:
        """A list of objects, [] when absent and not required."""
        return [Reader(item, f"{self.at(key)}[{index}]") for index, item in enumerate(self._list(key, required))]

    def numbers(
        self, key: str, *, low: float | None = None, high: float | None = None, required: bool = True
    ) -> list[float]:
        """A list of finite numbers."""
        return [
            self.checked_number(item, f"{self.at(key)}[{index}]", low=low, high=high)
            for index, item in enumerate(self._list(key, required))
        ]

    def texts(self, key: str, *, choices: Sequence[str] | None = None, required: bool = True) -> list[str]:
        """A list of non-empty strings."""
        found: list[str] = []
        for index, item in enumerate(self._list(key, required)):
            path = f"{self.at(key)}[{index}]"
            if not isinstance(item, str) or not item.strip():
                raise QuestionError(path, "this must be a text", "Write a non-empty string")
            if choices is not None and item not in choices:
                raise QuestionError(path, f"{item!r} is not one of the choices", f"Choose from {', '.join(choices)}")
            found.append(item)
        return found

    def done(self) -> None:
        """Refuse keys that were never asked for, naming the nearest known one."""
        for key in self._mapping:
            if key not in self._asked:
                near = difflib.get_close_matches(str(key), self._asked, n=1, cutoff=0.5)
                fix = f"Did you mean {near[0]!r}?" if near else f"Known keys: {', '.join(sorted(self._asked))}"
                raise QuestionError(self.at(str(key)), "this key is not known", fix)

    @staticmethod
    def checked_number(value: object, path: str, *, low: float | None = None, high: float | None = None) -> float:
        """``value`` as a finite number within bounds, or a QuestionError at ``path``."""
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise QuestionError(path, f"{value!r} is not a number", "Write a finite number without quotes")
        if (low is not None and value < low) or (high is not None and value > high):
            if low is not None and high is not None:
                bounds = f"between {low:g} and {high:g}"
            else:
                bounds = f"at least {low:g}" if low is not None else f"at most {high:g}"
            raise QuestionError(path, f"{value:g} is out of range", f"Write a number {bounds}")
        return value

    def _ask(self, key: str) -> None:
        if key not in self._asked:
            self._asked.append(key)

    def _value(self, key: str, required: bool) -> object:
        self._ask(key)
        value = self._mapping.get(key)
        if value is None and required:
            near = difflib.get_close_matches(key, [str(name) for name in self._mapping], n=1, cutoff=0.7)
            hint = f" (is {near[0]!r} meant to be it?)" if near and near[0] not in self._asked else ""
            raise self.error(key, "this key is missing", f"Add {key!r}{hint}")
        return value

    def _list(self, key: str, required: bool) -> Sequence[object]:
        value = self._value(key, required)
        if value is None:
            return []
        if isinstance(value, str) or not isinstance(value, Sequence):
            raise self.error(key, "this must be a list", "Write [ … ]")
        return value
