"""Who may use the API: every view declares a permission; one that declares none is refused."""

from __future__ import annotations

import difflib
from typing import Any, TypeVar, cast

from rest_framework import mixins, serializers, viewsets

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.core.errors import Invalid
from apps.core.rest import request_key

SerializerT = TypeVar("SerializerT", bound=serializers.Serializer[Any])


class ActViewSet(viewsets.GenericViewSet[Any]):
    """Acts alone, with no rows to read: who acts, what was sent, and the right each act needs."""

    permission: Permission = Permission.READ
    write_permission: Permission | None = None
    act_permissions: dict[str, Permission] = {}

    @property
    def by(self) -> Person:
        """The acting person."""
        return cast(Person, self.request.user)

    @property
    def request_key(self) -> str | None:
        """The Idempotency-Key of the request."""
        return request_key(self.request)

    def valid(self, serializer_class: type[SerializerT]) -> dict[str, Any]:
        """The request's input as read by ``serializer_class``; unknown keys are refused by name."""
        data = self.request.data
        if not isinstance(data, dict):
            raise Invalid("Send a JSON object.", field="body")
        serializer = serializer_class(data=data, context=self.get_serializer_context())
        unknown = sorted(set(data) - set(serializer.fields))
        if unknown:
            near = difflib.get_close_matches(str(unknown[0]), list(serializer.fields), n=1)
            hint = f" Did you mean “{near[0]}”?" if near else f" Known: {', '.join(serializer.fields)}."
            raise Invalid(f"“{unknown[0]}” is not a field here.{hint}", field=str(unknown[0]))
        serializer.is_valid(raise_exception=True)
        return dict(serializer.validated_data)


class FloorViewSet(mixins.RetrieveModelMixin, mixins.ListModelMixin, ActViewSet):
    """Base of every floor's viewsets: read by ref, acts by POST; set ``permission`` and ``act_permissions``."""

    lookup_field = "ref"
    lookup_value_regex = "[0-9a-z]{10}"
