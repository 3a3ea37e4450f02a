"""The what-ifs by HTTP: ``POST /api/v1/what-if/NAME/``, for any signed-in role, writing nothing."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any

import orjson
from django.conf import settings
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from apps.accounts.choices import Permission
from apps.core.errors import Missing, TooLarge
from apps.core.questions import QuestionError
from apps.dashboards.selectors.what_if import WHAT_IFS, what_if


class WhatIf(APIView):
    """Ask one engine one question."""

    permission = Permission.READ
    write_permission = Permission.READ
    parser_classes = []

    @extend_schema(
        operation_id="what_if",
        parameters=[OpenApiParameter("name", str, "path", enum=list(WHAT_IFS))],
        request={"application/json": OpenApiTypes.OBJECT},
        responses={200: OpenApiTypes.OBJECT},
        description="One question to one engine; docs/what-if.md gives every key with examples.",
    )
    def post(self, request: Request, name: str) -> Response:
        """Answer, or problem+json naming the JSON path, what is wrong and the fix."""
        return Response(orjson.loads(orjson.dumps(answer(name, read_question(request)), option=OPTIONS)))


OPTIONS = orjson.OPT_NON_STR_KEYS | orjson.OPT_SERIALIZE_NUMPY


def answer(name: str, question: Mapping[str, object]) -> dict[str, object]:
    """Ask by name. Raises Missing for an unknown name, QuestionError, NotYetAnswered."""
    if name not in WHAT_IFS:
        near = difflib.get_close_matches(name, list(WHAT_IFS), n=1)
        hint = f" Did you mean “{near[0]}”?" if near else ""
        raise Missing(f"There is no what-if “{name}”.{hint} Choose from {', '.join(WHAT_IFS)}.")
    return what_if(name)(question)


def read_question(request: Request) -> Mapping[str, object]:
    """The body as a JSON object, bounded before it is read."""
    length = int(request.META.get("CONTENT_LENGTH") or 0)
    if length > settings.WHAT_IF_MAX_BYTES:
        raise TooLarge("A question has at most 1 MB. Ask about fewer animals or days.")
    body: bytes = request._request.body
    return question_of(body)


def question_of(body: bytes) -> Mapping[str, object]:
    """Bytes as a JSON object. Raises QuestionError at ``$``."""
    try:
        question: Any = orjson.loads(body)
    except orjson.JSONDecodeError as error:
        raise QuestionError("$", f"this is not JSON: {error}", "Send one JSON object") from None
    if not isinstance(question, dict):
        raise QuestionError("$", "this must be a JSON object", "Send { … }")
    return question
