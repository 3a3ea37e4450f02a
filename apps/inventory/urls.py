"""Addresses of selling."""

from django.urls import path

from apps.inventory import views

app_name = "inventory"
urlpatterns = [
    path("stock/", views.stock, name="stock"),
    path("stock/offers/<str:ref>/", views.offer, name="offer"),
    *[
        path(f"stock/offers/<str:ref>/{act}/", views.offer_act, {"act": act}, name=f"offer-{act}")
        for act in ("list", "withdraw", "price", "reserve")
    ],
    path("stock/reservations/<str:ref>/release/", views.reservation_release, name="release"),
    path("stock/buyers/", views.buyer_list, name="buyers"),
    path("stock/buyers/<str:ref>/", views.buyer, name="buyer"),
    path("stock/orders/", views.order_list, name="orders"),
    path("stock/orders/new/", views.order_new, name="order-new"),
    path("stock/orders/<str:ref>/", views.order, name="order"),
    *[
        path(f"stock/orders/<str:ref>/{act}/", views.order_act, {"act": act}, name=f"order-{act}")
        for act in ("agree", "hand-over", "close", "cancel", "pay")
    ],
    path("stock/orders/<str:ref>/refund/", views.order_refund, name="order-refund"),
]
