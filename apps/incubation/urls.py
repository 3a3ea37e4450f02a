"""Addresses of the incubation room."""

from django.urls import path

from apps.incubation import views

app_name = "incubation"
urlpatterns = [
    path("incubation/", views.room, name="room"),
    path("incubation/lay/", views.lay, name="lay"),
    path("incubation/incubators/", views.incubators, name="incubators"),
    path("incubation/incubators/<str:ref>/", views.incubator_edit, name="incubator"),
    path("incubation/broods/<str:ref>/", views.brood, name="brood"),
    path("incubation/broods/<str:ref>/box/", views.box_set, name="box-set"),
    path("incubation/broods/<str:ref>/check/", views.egg_check, name="egg-check"),
    path("incubation/broods/<str:ref>/checks/", views.eggs_check, name="eggs-check"),
    path("incubation/broods/<str:ref>/egg/", views.brood_act, {"act": "egg"}, name="egg-add"),
    path("incubation/broods/<str:ref>/close/", views.brood_act, {"act": "close"}, name="brood-close"),
    path("incubation/broods/<str:ref>/box-out/", views.brood_act, {"act": "box-out"}, name="box-remove"),
    path("incubation/eggs/<str:ref>/pip/", views.egg_act, {"act": "pip"}, name="egg-pip"),
    path("incubation/eggs/<str:ref>/slug/", views.egg_act, {"act": "slug"}, name="egg-slug"),
    path("incubation/eggs/<str:ref>/keep/", views.egg_act, {"act": "keep"}, name="egg-keep"),
    path("incubation/eggs/<str:ref>/leave/", views.egg_act, {"act": "leave"}, name="egg-leave"),
    path("incubation/eggs/<str:ref>/fail/", views.egg_act, {"act": "fail"}, name="egg-fail"),
    path("incubation/boxes/<str:ref>/label/", views.box_label, name="box-label"),
]
