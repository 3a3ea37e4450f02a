"""The index tabs of the running head: label, address, and the right that shows it."""

from __future__ import annotations

from dataclasses import dataclass

from apps.accounts.choices import Permission


@dataclass(frozen=True)
class Tab:
    """One tab; ``under`` are the path beginnings on which it is the current one."""

    label: str
    url: str
    permission: Permission
    under: tuple[str, ...]


TABS: tuple[Tab, ...] = (
    Tab("Today", "/", Permission.READ, ("/today/",)),
    Tab("Round", "/rounds/", Permission.CARE_RECORD, ("/rounds/", "/tasks/", "/care/")),
    Tab("Animals", "/animals/", Permission.READ, ("/animals/", "/import/", "/places/")),
    Tab("Scan", "/scan/", Permission.SCANS_RECORD, ("/scan/",)),
    Tab("Season", "/season/", Permission.READ, ("/season/", "/visits/", "/rota/")),
    Tab("Cross", "/cross/", Permission.READ, ("/cross/",)),
    Tab("Incubation", "/incubation/", Permission.READ, ("/incubation/",)),
    Tab("Hatch", "/hatch/", Permission.HATCH, ("/hatch/",)),
    Tab("Nursery", "/nursery/", Permission.READ, ("/nursery/",)),
    Tab("Stock", "/stock/", Permission.MONEY_READ, ("/stock/",)),
    Tab("Shipping", "/shipping/", Permission.PARCELS_EDIT, ("/shipping/",)),
)

# in the menu under one's own name: for whoever writes programs, not for the round
OWN_LINKS: tuple[dict[str, str], ...] = ({"label": "API reference", "url": "/api-reference/"},)
