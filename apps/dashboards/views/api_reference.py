"""The API reference: every act of the API, read from the schema that the API serves."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.dashboards.pages.api_reference import api_groups


@requires(Permission.READ)
def api_reference(request: PersonRequest) -> HttpResponse:
    """What can be asked of the house by program: every noun with its acts, and the rules that all share."""
    groups = api_groups()
    acts = sum(len(group.operations) for group in groups)
    return render(request, "dashboards/api_reference.html", {"groups": groups, "acts": acts})


@requires(Permission.READ)
def api_group(request: PersonRequest, name: str) -> HttpResponse:
    """One noun of the API: how to ask, what to send, what comes back."""
    group = next((group for group in api_groups() if group.name == name), None)
    if group is None:
        raise Http404("The API has no such noun.")
    return render(request, "dashboards/api_group.html", {"group": group})
