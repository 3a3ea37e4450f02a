"""Who may: each rule a raising check with a boolean twin, and the decorator that puts it on a page."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar, cast

from django.http import HttpRequest, HttpResponse
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.core.errors import NotAllowed

P = ParamSpec("P")
ResponseT = TypeVar("ResponseT", bound=HttpResponse)


class PersonRequest(HttpRequest):
    """A request whose user is signed in."""

    user: Person


def may(person: Person, permission: Permission) -> bool:
    """Whether this person may do it."""
    return person.is_active and permission in person.permissions


def check_may(person: Person, permission: Permission) -> None:
    """Raises NotAllowed with the right that is missing and who has it."""
    if not may(person, permission):
        raise NotAllowed(
            f"{person.name} ({person.role_words}) may not {permission.description}. Ask the owner for the right.",
            code="not-allowed",
        )


def requires(
    permission: Permission, *, write: Permission | None = None
) -> Callable[[Callable[Concatenate[PersonRequest, P], ResponseT]], Callable[Concatenate[HttpRequest, P], ResponseT]]:
    """Put a right on a page; ``write`` is asked for anything but GET and HEAD. The role matrix test reads both."""

    def decorate(
        view: Callable[Concatenate[PersonRequest, P], ResponseT],
    ) -> Callable[Concatenate[HttpRequest, P], ResponseT]:
        @wraps(view)
        def wrapped(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> ResponseT:
            asked = permission if request.method in {"GET", "HEAD"} or write is None else write
            check_may(cast(Person, request.user), asked)
            return view(cast(PersonRequest, request), *args, **kwargs)

        marked = cast(Any, wrapped)
        marked.permission = permission
        marked.write_permission = write or permission
        return cast("Callable[Concatenate[HttpRequest, P], ResponseT]", wrapped)

    return decorate


class PermissionDeclared(BasePermission):
    """Reads ``view.permission`` (safe methods), ``view.write_permission`` or ``view.act_permissions[action]``."""

    message = "You may not do this. Ask the owner for the right."

    def has_permission(self, request: Request, view: object) -> bool:
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
