"""Addresses of daily care."""

from django.urls import path

from apps.care import views
from apps.care.views import feeding_plan, health, rounds, sheet, tasks

app_name = "care"
urlpatterns = [
    path("care/", views.feeding, name="feeding"),
    path("care/plan/", feeding_plan.feeding_plan, name="plan"),
    path("care/plan/racks/<str:ref>/", feeding_plan.feeding_plan_rack, name="plan-rack"),
    path("care/thaw/", feeding_plan.thaw, name="thaw"),
    path("care/thaw/print/", feeding_plan.thaw_print, name="thaw-print"),
    path("care/health/", health.health, name="health"),
    path("care/notes/", views.notes, name="notes"),
    path("care/notes/<str:ref>/close/", views.note_close, name="note-close"),
    path("care/racks/<str:ref>/offer/", views.rack_offer, name="rack-offer"),
    path("care/racks/<str:ref>/check/", views.rack_check, name="rack-check"),
    path("care/backlog/", tasks.backlog_reset, name="backlog"),
    path("care/backlog/<str:ref>/undo/", tasks.backlog_undo, name="backlog-undo"),
    path("rounds/", rounds.round_list, name="rounds"),
    path("rounds/open/", rounds.round_open, name="round-open"),
    path("rounds/<str:ref>/", rounds.round_one, name="round"),
    path("rounds/<str:ref>/claim/", rounds.round_claim, name="round-claim"),
    path("rounds/<str:ref>/close/", rounds.round_close, name="round-close"),
    path("rounds/<str:ref>/reopen/", rounds.round_reopen, name="round-reopen"),
    path("rounds/<str:ref>/sheet/", rounds.round_sheet, name="round-sheet"),
    path("rounds/<str:ref>/racks/<str:rack_ref>/entry/", sheet.sheet_entry, name="sheet-entry"),
    path("rounds/<str:ref>/tubs/<str:tub_ref>/", rounds.round_tub, name="round-tub"),
    path("tasks/", tasks.tasks, name="tasks"),
    path("tasks/new/", tasks.task_new, name="task-new"),
    path("tasks/usual/", tasks.tasks_usual, name="tasks-usual"),
    path("tasks/<str:ref>/", tasks.task_one, name="task"),
    path("tasks/times/<str:ref>/done/", tasks.task_done, name="task-done"),
    path("tasks/times/<str:ref>/skip/", tasks.task_skip, name="task-skip"),
    path("tasks/times/<str:ref>/undo/", tasks.task_undo, name="task-undo"),
    path("animals/<str:ref>/care/", views.animal_care, name="animal"),
    path("animals/<str:ref>/growth/", feeding_plan.growth, name="growth"),
    path("animals/<str:ref>/health/", health.animal_health, name="animal-health"),
    path("animals/<str:ref>/care/strike/", views.entry_strike, name="strike"),
]
