"""Writes of selling: buyers, offers, reservations, orders, money."""

from apps.inventory.services.buyers import buyer_add, buyer_change, buyer_erase
from apps.inventory.services.money import payment_record, refund_record
from apps.inventory.services.offers import offer_list, offer_make, offer_price_set, offer_withdraw
from apps.inventory.services.orders import order_agree, order_cancel, order_close, order_hand_over, order_make
from apps.inventory.services.reservations import offer_reserve, reservation_release, reservations_lapse

__all__ = [
    "buyer_add",
    "buyer_change",
    "buyer_erase",
    "offer_list",
    "offer_make",
    "offer_price_set",
    "offer_reserve",
    "offer_withdraw",
    "order_agree",
    "order_cancel",
    "order_close",
    "order_hand_over",
    "order_make",
    "payment_record",
    "refund_record",
    "reservation_release",
    "reservations_lapse",
]
