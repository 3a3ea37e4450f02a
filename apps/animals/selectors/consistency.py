"""What the nightly check looks for: rows that no service would have written."""

from __future__ import annotations

from django.db.models import F

from apps.animals.choices import Sex
from apps.animals.models import Animal, Brood


def lineage_faults() -> list[str]:
    """Every fault as one sentence; [] for a sound collection."""
    faults = []
    rows = Animal.objects.all()
    for animal in rows.filter(dam__isnull=False).exclude(dam__sex=Sex.FEMALE).select_related("dam"):
        faults.append(f"{animal.code}: dam {animal.dam} is {animal.dam.sex if animal.dam else ''}")
    for animal in rows.filter(sire__isnull=False).exclude(sire__sex=Sex.MALE).select_related("sire"):
        faults.append(f"{animal.code}: sire {animal.sire} is {animal.sire.sex if animal.sire else ''}")
    for name in ("dam", "sire"):
        young = rows.filter(**{f"{name}__hatched_on__gte": F("hatched_on")}).values_list("code", f"{name}__code")
        faults += [f"{code}: {name} {parent} is not older" for code, parent in young]
    for animal in rows.filter(brood__isnull=False).exclude(dam=F("brood__dam")).select_related("brood"):
        faults.append(f"{animal.code}: brood {animal.brood} has another dam")
    for brood in Brood.objects.exclude(dam__sex=Sex.FEMALE):
        faults.append(f"brood {brood.code}: dam is not female")
    return faults + _loops()


def _loops() -> list[str]:
    """Animals that are their own ancestors: strip those without unstripped parents until none can be."""
    parents = {
        pk: {p for p in (dam, sire) if p is not None}
        for pk, dam, sire in Animal.objects.values_list("pk", "dam_id", "sire_id")
    }
    young: dict[int, list[int]] = {}
    for pk, known in parents.items():
        for parent in known:
            young.setdefault(parent, []).append(pk)
    waiting = {pk: len(known) for pk, known in parents.items()}
    free = [pk for pk, count in waiting.items() if count == 0]
    while free:
        pk = free.pop()
        for child in young.get(pk, []):
            waiting[child] -= 1
            if waiting[child] == 0:
                free.append(child)
    looped = [pk for pk, count in waiting.items() if count > 0]
    if not looped:
        return []
    codes = Animal.objects.filter(pk__in=looped[:20]).values_list("code", flat=True)
    return [f"a loop of parents touches {', '.join(codes)}"]
