"""Addresses of the pages that read across the house."""

from django.urls import path

from apps.dashboards.views import (
    animal,
    api_reference,
    corrections,
    gallery,
    health,
    imports,
    offline,
    search,
    today,
)

app_name = "dashboards"
urlpatterns = [
    path("", today.today, name="today"),
    path("today/seen/", today.today_seen, name="today-seen"),
    path("animals/<str:ref>/", animal.animal, name="animal"),
    path("animals/<str:ref>/put-right/", corrections.put_right, name="put-right"),
    path("animals/<str:ref>/put-right/swap/", corrections.swap, name="put-right-swap"),
    path("animals/<str:ref>/put-right/entries/", corrections.facts, name="put-right-facts"),
    path("animals/<str:ref>/put-right/place/", corrections.missing, name="put-right-missing"),
    path("animals/<str:ref>/put-right/twice/", corrections.merge, name="put-right-merge"),
    path("animals/<str:ref>/put-right/sire/", corrections.sire, name="put-right-sire-wrong"),
    path("corrections/", corrections.correction_list, name="corrections"),
    path("corrections/<str:ref>/", corrections.correction, name="correction"),
    path("corrections/<str:ref>/undo/", corrections.undo, name="correction-undo"),
    path("import/", imports.imports, name="imports"),
    path("import/examples/<str:kind>.csv", imports.import_example, name="import-example"),
    path("import/<str:ref>/", imports.import_run, name="import"),
    path("import/<str:ref>/write/", imports.import_write, name="import-write"),
    path("import/<str:ref>/refused.csv", imports.import_refused, name="import-refused"),
    path("export/animals.csv", imports.export_animals, name="export-animals"),
    path("export/racks.csv", imports.export_places, name="export-racks"),
    path("search/", search.search, name="search"),
    path("gallery/", gallery.gallery, name="gallery"),
    path("api-reference/", api_reference.api_reference, name="api-reference"),
    path("api-reference/<str:name>/", api_reference.api_group, name="api-group"),
    path("care/waiting/", offline.waiting, name="waiting"),
    path("care/kept/", offline.kept, name="kept"),
    path("care/kept/<str:ref>/decide/", offline.kept_decide, name="kept-decide"),
    path("worker.js", offline.worker, name="worker"),
    path("healthz", health.healthz, name="healthz"),
    path("readyz", health.readyz, name="readyz"),
]
