"""Addresses of animals; an animal's whole page (``/animals/REF/``) stands on the top floor."""

from django.urls import path

from apps.animals.views import (
    acts,
    catalogues,
    crosses,
    intake,
    kinship,
    labels,
    lineage,
    lists,
    places,
    species,
    welfare,
)

app_name = "animals"
urlpatterns = [
    path("animals/", lists.animal_list, name="list"),
    path("animals/new/", lists.animal_new, name="new"),
    path("animals/intake/", intake.intake, name="intake"),
    path("purchases/<str:ref>/decide/", intake.decide, name="purchase-decide"),
    path("labels/", labels.labels, name="labels"),
    path("animals/<str:ref>/edit/", acts.edit, name="edit"),
    path("animals/<str:ref>/move/", acts.move, name="move"),
    path("animals/<str:ref>/traits/", acts.traits, name="traits"),
    path("animals/<str:ref>/status/", acts.status, name="status"),
    path("animals/<str:ref>/lineage/", lineage.lineage, name="lineage"),
    path("animals/<str:ref>/mates/", kinship.mates, name="mates"),
    path("genetics/", kinship.collection, name="collection"),
    path("lineage/doubts/", lineage.doubts, name="doubts"),
    path("animals/<str:ref>/sire/", acts.sire, name="sire"),
    path("animals/<str:ref>/holds/", acts.holds, name="holds"),
    path("holds/<str:ref>/end/", acts.hold_end, name="hold-end"),
    path("broods/<str:ref>/sires/", species.brood_sires, name="brood-sires"),
    path("species/", species.species_list, name="species-list"),
    path("species/<str:ref>/", species.species, name="species"),
    path("cross/", crosses.cross, name="cross"),
    path("species/<str:ref>/values/", crosses.values, name="trait-values"),
    path("trait-values/<str:ref>/drop/", crosses.value_drop, name="trait-value-drop"),
    path("species/<str:ref>/catalogue/", catalogues.catalogue, name="catalogue"),
    path("catalogue-edits/<str:ref>/withdraw/", catalogues.withdraw, name="catalogue-withdraw"),
    path("species/<str:ref>/welfare/", welfare.welfare, name="welfare"),
    path("welfare-lifts/<str:ref>/withdraw/", welfare.withdraw, name="welfare-withdraw"),
    path("species/<str:ref>/<str:key>/", species.number, name="number"),
    path("places/", places.places, name="places"),
    path("places/holds/new/", places.place_hold, name="place-hold"),
    path("places/racks/<str:ref>/", places.rack, name="rack"),
    path("p/<str:ref>/", places.tub_landing, name="tub"),
    path("a/<str:ref>/", places.animal_landing, name="animal-landing"),
]
