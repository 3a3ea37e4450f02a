"""Who may use the API: every view declares a permission; one that declares none is refused."""

from __future__ import annotations

import difflib
from typing import Any, TypeVar, cast

from rest_framework import mixins, serializers, viewsets
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.views import APIView

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.core.errors import Invalid
from apps.core.rest import request_key

SerializerT = TypeVar("SerializerT", bound=serializers.Serializer[Any])


class PermissionDeclared(BasePermission):
    """Reads ``view.permission`` (safe methods), ``view.write_permission`` or ``view.act_permissions[action]``."""

    message = "You may not do this. Ask the owner for the right."

    def has_permission(self, request: Request, view: APIView) -> bool:
        """Signed in, and holding what the view declares."""
        needed = permission_for(view, cast(str, request.method))
        if getattr(view, "is_public", False):
            return True
        if not request.user or not request.user.is_authenticated or needed is None:
            return False
        return may(request.user, needed)


def permission_for(view: Any, method: str) -> Permission | None:
    """The permission one method of a view asks for; None means nobody."""
    by_action: dict[str, Permission] = getattr(view, "act_permissions", {})
    action = getattr(view, "action", None)
    if action in by_action:
        return by_action[action]
    if method in {"GET", "HEAD", "OPTIONS"}:
        return cast("Permission | None", getattr(view, "permission", None))
    return cast("Permission | None", getattr(view, "write_permission", None))


class FloorViewSet(mixins.RetrieveModelMixin, mixins.ListModelMixin, viewsets.GenericViewSet[Any]):
    """Base of every floor's viewsets: read by ref, acts by POST; set ``permission`` and ``act_permissions``."""

    lookup_field = "ref"
    lookup_value_regex = "[0-9a-z]{10}"
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
