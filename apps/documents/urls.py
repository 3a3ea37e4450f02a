"""Addresses of documents and label printers."""

from django.urls import path

from apps.documents import views
from apps.documents.views import printers

app_name = "documents"
urlpatterns = [
    path("documents/<str:ref>/", views.document, name="document"),
    path("labels/printers/", printers.printer_list, name="printers"),
    path("labels/printers/test/", printers.stock_test, name="stock-test"),
    path("labels/printers/<str:ref>/", printers.printer_one, name="printer"),
    path("labels/printers/<str:ref>/test/", printers.printer_test, name="printer-test"),
]
