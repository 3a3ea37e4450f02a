"""The API reference as a typed page, read from the generated OpenAPI schema."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from drf_spectacular.generators import SchemaGenerator

PREFIX = "/api/v1/"
DEEPEST = 4
FILES = "multipart/form-data"


@dataclass(frozen=True)
class Field:
    """One field of a request or an answer."""

    name: str
    kind: str
    required: bool
    words: str


@dataclass(frozen=True)
class Operation:
    """One act: how to ask, what to send, what comes back."""

    method: str
    path: str
    anchor: str
    summary: str
    parameters: tuple[Field, ...]
    fields: tuple[Field, ...]
    answer: tuple[Field, ...]
    is_form: bool  # sent as multipart/form-data, because a file is among the fields
    example: str
    statuses: tuple[str, ...]


@dataclass(frozen=True)
class Group:
    """All operations of one plural noun."""

    name: str
    operations: tuple[Operation, ...]


@lru_cache(maxsize=1)
def api_schema() -> dict[str, Any]:
    """The OpenAPI schema: it takes seconds and changes with the code alone, so it is made once a process."""
    generator: Any = SchemaGenerator  # its own types are not written down
    schema: dict[str, Any] = generator().get_schema(request=None, public=True)
    return schema


@lru_cache(maxsize=1)
def api_groups() -> tuple[Group, ...]:
    """Every documented operation, grouped by the first word of its path; built once a process."""
    schema = api_schema()
    groups: dict[str, list[Operation]] = {}
    for path, methods in sorted(schema["paths"].items()):
        name = path.removeprefix(PREFIX).split("/")[0]
        for method, operation in methods.items():
            groups.setdefault(name, []).append(_operation(schema, path, method, operation))
    return tuple(Group(name, tuple(found)) for name, found in sorted(groups.items()))


def _operation(schema: Mapping[str, Any], path: str, method: str, found: Mapping[str, Any]) -> Operation:
    body = _json_schema(found.get("requestBody", {}))
    answers = found.get("responses", {})
    good = next((code for code in sorted(answers) if code.startswith("2")), "")
    return Operation(
        method=method.upper(),
        path=path,
        anchor=str(found.get("operationId", f"{method}-{path}")),
        summary=str(found.get("description") or found.get("summary") or "").strip(),
        parameters=tuple(_parameter(row) for row in found.get("parameters", [])),
        fields=tuple(_fields(schema, body)),
        answer=tuple(_fields(schema, _json_schema(answers.get(good, {})))),
        is_form=FILES in found.get("requestBody", {}).get("content", {}),
        example=_written(schema, body),
        statuses=tuple(sorted(answers)),
    )


def _written(schema: Mapping[str, Any], body: Mapping[str, Any]) -> str:
    """The example as JSON; nothing where nothing is sent."""
    example = _example(schema, body) if body else None
    return json.dumps(example, indent=2, ensure_ascii=False) if example else ""


def _parameter(row: Mapping[str, Any]) -> Field:
    kind = str(row.get("schema", {}).get("type", "text"))
    return Field(f"{row['name']} ({row['in']})", kind, bool(row.get("required")), str(row.get("description", "")))


def _json_schema(part: Mapping[str, Any]) -> Mapping[str, Any]:
    content = part.get("content", {})
    found: Mapping[str, Any] = (content.get("application/json") or content.get(FILES) or {}).get("schema", {})
    return found


def _resolve(schema: Mapping[str, Any], part: Mapping[str, Any]) -> Mapping[str, Any]:
    """Follow $ref and single allOf."""
    while True:
        if "$ref" in part:
            part = schema["components"]["schemas"][part["$ref"].rsplit("/", 1)[1]]
        elif len(part.get("allOf", [])) == 1:
            part = part["allOf"][0]
        else:
            return part


def _fields(schema: Mapping[str, Any], part: Mapping[str, Any]) -> Iterator[Field]:
    part = _resolve(schema, part)
    if part.get("type") == "array":
        part = _resolve(schema, part.get("items", {}))
    results = part.get("properties", {}).get("results")
    if results is not None:
        part = _resolve(schema, _resolve(schema, results).get("items", {}))
    required = set(part.get("required", []))
    for name, raw in part.get("properties", {}).items():
        found = _resolve(schema, raw)
        yield Field(name, _kind(schema, found), name in required, str(raw.get("description", "")))


def _kind(schema: Mapping[str, Any], found: Mapping[str, Any]) -> str:
    if "enum" in found:
        return "one of " + ", ".join(str(value) for value in found["enum"] if value not in (None, ""))
    if "oneOf" in found:
        return " or ".join(dict.fromkeys(_kind(schema, _resolve(schema, part)) for part in found["oneOf"]))
    if found.get("type") == "array":
        return f"list of {_kind(schema, _resolve(schema, found.get('items', {})))}"
    return str(found.get("format") or found.get("type") or "value")


def _example(schema: Mapping[str, Any], part: Mapping[str, Any], depth: int = 0) -> Any:
    """A plausible value of a schema: its shape, not real data."""
    part = _resolve(schema, part)
    if "example" in part:
        return part["example"]
    if "enum" in part:
        return part["enum"][0]
    if "oneOf" in part:
        return _example(schema, part["oneOf"][0], depth + 1)
    kind = part.get("type")
    if kind == "array":
        return [] if depth > DEEPEST else [_example(schema, part.get("items", {}), depth + 1)]
    if kind == "object" or "properties" in part:
        if depth > DEEPEST:
            return {}
        return {name: _example(schema, raw, depth + 1) for name, raw in part.get("properties", {}).items()}
    if kind == "string":
        formats = {"date": "2027-04-06", "date-time": "2027-04-06T17:00:00-04:00"}
        return formats.get(str(part.get("format")), "…")
    return {"integer": 1, "number": 1.5, "boolean": True}.get(str(kind))
