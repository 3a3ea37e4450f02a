"""An act of one animal posted from a page: read by its form, written by its service, refused beside its field."""

from __future__ import annotations

from django import forms
from django.contrib import messages

from apps.accounts.policies import PersonRequest
from apps.animals.models import Animal
from apps.care.pages.acts import ACTS
from apps.core.errors import DomainError, Invalid, Many
from apps.core.uploads import upload_skipped

TOO_LARGE = "The photograph is over 20 MB. Take it at a smaller size."


def refuse(form: forms.Form, error: DomainError) -> None:
    """Put a service's refusal beside its field."""
    for one in error.errors if isinstance(error, Many) else [error]:
        form.add_error(one.field if one.field in form.fields else None, forms.ValidationError(one.message, one.code))


def posted_act(request: PersonRequest, animal: Animal) -> dict[str, forms.Form]:
    """Carry the act out; empty when it was written, else its form by name with what is wrong. Raises Invalid."""
    name = request.POST.get("act", "")
    if name not in ACTS:
        raise Invalid("Nothing of that name can be recorded here.", field="act")
    form_class, act = ACTS[name]
    form = form_class(request.POST, request.FILES, auto_id=f"{name}_%s")
    if upload_skipped(request) and "photo" in form.fields:
        # it was thrown away while it came in: say so instead of asking for a file
        form.fields["photo"].error_messages["required"] = TOO_LARGE
    if form.is_valid():
        try:
            words = act(request.user, animal, dict(form.cleaned_data), request.POST.get("request_key"))
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, words)
            return {}
    return {name: form}


def act_forms(bound: dict[str, forms.Form], offer_initial: dict[str, object] | None) -> dict[str, forms.Form]:
    """Every act's form: the refused one as it was typed, the others fresh."""
    return {
        name: bound.get(name) or form_class(initial=offer_initial if name == "offer" else None, auto_id=f"{name}_%s")
        for name, (form_class, _) in ACTS.items()
    }
