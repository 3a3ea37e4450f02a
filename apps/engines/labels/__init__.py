"""Where labels lie on a sheet or a roll, and how far a print may be moved. Lengths in mm, from the page's top left."""

from apps.engines.labels.stock import (
    INSET_MM,
    OFFSET_LIMIT_MM,
    Box,
    OffsetRoom,
    Stock,
    StockError,
    box_of,
    offset_room,
    pages_of,
    stock_check,
)

__all__ = [
    "INSET_MM",
    "OFFSET_LIMIT_MM",
    "Box",
    "OffsetRoom",
    "Stock",
    "StockError",
    "box_of",
    "offset_room",
    "pages_of",
    "stock_check",
]
