"""An animal's whole page."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.dashboards.pages.animal import acts_of, facts_of, parents_picture, sire_words, state_words, weights_picture
from apps.dashboards.pages.season import season_picture
from apps.dashboards.selectors.animal import animal_by_ref, whole_animal


@requires(Permission.READ)
def animal(request: PersonRequest, ref: str) -> HttpResponse:
    """Everything of one animal."""
    found = animal_by_ref(ref)
    if found is None:
        raise Http404
    if found.merged_into is not None:
        # printed labels of the other code keep leading to the animal
        return redirect(found.merged_into)
    page = whole_animal(found, request.user)
    return render(
        request,
        "dashboards/animal.html",
        {
            "page": page,
            "animal": found,
            "acts": acts_of(page, request.user),
            "facts": facts_of(page),
            "state_words": state_words(page),
            "weights_picture": weights_picture(page),
            "parents_picture": parents_picture(found),
            "sire_words": sire_words(found),
            "season_picture": season_picture(page),
            "may_settle": may(request.user, Permission.ANIMALS_EDIT),
        },
    )
