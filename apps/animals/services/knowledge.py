"""Species, their numbers and traits: loaded from the shipped files, edited by the house, never overwritten."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from django.utils.text import slugify

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import Mode, NumberOrigin
from apps.animals.models import Species, SpeciesNumber, Trait
from apps.animals.selectors.catalogues import catalogue_of
from apps.animals.selectors.knowledge_species import SpeciesProfile, shipped_profiles
from apps.animals.selectors.species import number_rows
from apps.core import clock
from apps.core.errors import Duplicate, Invalid


@service("knowledge.load")
def knowledge_load(*, by: Person, request_key: str | None = None) -> list[Species]:
    """Load every shipped profile and catalogue; a repeat changes nothing. A house number is never touched."""
    loaded = []
    for profile in shipped_profiles():
        species, _ = Species.objects.update_or_create(
            scientific=profile.scientific,
            defaults={
                "common": profile.common,
                "slug": profile.slug,
                "code_prefix": profile.code_prefix,
                "sex_system": profile.sex_system,
                "mode": profile.mode,
                "venomous": profile.venomous,
                "has_profile": True,
                "profile_version": profile.version,
            },
        )
        changed = _load_numbers(species, profile) + traits_listed(species)
        if changed:
            audit_write(
                by=by, act="knowledge.load", subject=species, detail={"version": profile.version, "rows": changed}
            )
        loaded.append(species)
    return loaded


@service("species.add", may=Permission.TRAITS_EDIT)
def species_add(
    *,
    by: Person,
    scientific: str,
    common: str,
    mode: Mode | str,
    code_prefix: str,
    venomous: bool = False,
    request_key: str | None = None,
) -> Species:
    """Any other species: records, no advice, and a ship verdict of needs-review. Raises Invalid, Duplicate."""
    name = " ".join(scientific.split())
    if len(name.split()) < 2:
        raise Invalid("Write genus and species, such as Morelia viridis.", field="scientific")
    if mode not in Mode.values:
        raise Invalid("Choose eggs or live birth.", field="mode")
    prefix = code_prefix.strip().upper()
    if not (1 <= len(prefix) <= 4 and prefix.isalpha()):
        raise Invalid("Codes begin with 1 to 4 letters.", field="code_prefix")
    if Species.objects.filter(scientific__iexact=name).exists():
        raise Duplicate(f"{name} is there already.", field="scientific")
    if Species.objects.filter(code_prefix=prefix).exists():
        raise Duplicate(f"{prefix} is another species' beginning.", field="code_prefix")
    species = Species.objects.create(
        scientific=name,
        common=" ".join(common.split()) or name,
        slug=slugify(name),
        code_prefix=prefix,
        mode=mode,
        venomous=venomous,
    )
    audit_write(by=by, act="species.add", subject=species)
    return species


@service("species-number.set", may=Permission.TRAITS_EDIT)
def species_number_set(
    *, by: Person, species: Species, key: str, value: float, note: str = "", request_key: str | None = None
) -> SpeciesNumber:
    """Set a house number over the shipped one, from today. Raises Invalid for an unknown key."""
    standing = number_rows(species).get(key)
    if standing is None:
        raise Invalid(f"“{key}” is no number of {species}.", field="key")
    row = _number_write(
        standing,
        NumberOrigin.HOUSE,
        value=value,
        source=f"house rule, set by {by.name}",
        confidence="house_rule",
        note=note,
        by=by,
    )
    audit_write(
        by=by, act="species-number.set", subject=species, detail={"key": key, "before": standing.value, "after": value}
    )
    return row


@service("species-numbers.learn")
def species_numbers_learn(
    *, by: Person, species: Species, numbers: Mapping[str, float], source: str, request_key: str | None = None
) -> list[SpeciesNumber]:
    """Write from today what the facility's own records say of numbers; one that the house set stays above it.

    Raises Invalid for a key that is no number of the species.
    """
    standing = number_rows(species)
    unknown = sorted(set(numbers) - set(standing))
    if unknown:
        raise Invalid(f"“{unknown[0]}” is no number of {species}.", field="key")
    rows = [
        _number_write(standing[key], NumberOrigin.RECORDS, value=value, source=source, confidence="own records", by=by)
        for key, value in numbers.items()
    ]
    detail = {key: {"before": standing[key].value, "after": value} for key, value in numbers.items()}
    audit_write(by=by, act="species-numbers.learn", subject=species, detail={"source": source, "numbers": detail})
    return rows


def _number_write(standing: SpeciesNumber, origin: NumberOrigin, **values: object) -> SpeciesNumber:
    """The facility's own row of a number, in the unit of the one that stands, from today; the day's second one replaces
    its first."""
    today = clock.today()
    row, _ = SpeciesNumber.objects.update_or_create(
        species_id=standing.species_id,
        key=standing.key,
        origin=origin,
        valid_from=today,
        defaults={"unit": standing.unit, "dated": today.isoformat(), **values},
    )
    return row


def _load_numbers(species: Species, profile: SpeciesProfile) -> int:
    """Write shipped numbers that are new or changed; the old ones stay with their dates."""
    standing: dict[str, SpeciesNumber] = {}
    for row in SpeciesNumber.objects.filter(species=species, origin=NumberOrigin.SHIPPED).order_by("valid_from"):
        standing[row.key] = row
    fresh = []
    for key, number in profile.rows.items():
        before = standing.get(key)
        if before is not None and (before.value, before.unit, before.source) == (
            number.value,
            number.unit,
            number.source,
        ):
            continue
        valid_from = date(2000, 1, 1) if before is None else clock.today()
        values = {
            "value": number.value,
            "unit": number.unit,
            "source": number.source,
            "dated": str(number.date),
            "confidence": number.confidence,
            "note": number.note,
        }
        if before is not None and before.valid_from == valid_from:
            SpeciesNumber.objects.filter(pk=before.pk).update(**values)
        else:
            row = SpeciesNumber(species=species, key=key, origin=NumberOrigin.SHIPPED, valid_from=valid_from, **values)
            fresh.append(row)
    SpeciesNumber.objects.bulk_create(fresh)
    return len(fresh)


def traits_listed(species: Species) -> int:
    """Make the list of names that pages search say what the catalogue in force says; how many rows changed."""
    catalogue = catalogue_of(species)
    if catalogue is None:  # the house took its last edit back
        return Trait.objects.filter(species=species).delete()[0]
    standing = {row.name: row for row in Trait.objects.filter(species=species)}
    fresh, changed = [], []
    for locus in catalogue.loci:
        for allele in locus.alleles:
            said = {
                "label": allele.label,
                "series": locus.code,
                "inheritance": allele.inheritance.value,
                "evidence": allele.evidence,
                "source": allele.source,
            }
            row = standing.pop(allele.name, None)
            if row is None:
                fresh.append(Trait(species=species, name=allele.name, **said))
            elif any(getattr(row, name) != value for name, value in said.items()):
                for name, value in said.items():
                    setattr(row, name, value)
                changed.append(row)
    Trait.objects.bulk_create(fresh)
    if changed:
        Trait.objects.bulk_update(changed, ["label", "series", "inheritance", "evidence", "source"])
    gone, _ = Trait.objects.filter(pk__in=[row.pk for row in standing.values()]).delete() if standing else (0, {})
    return len(fresh) + len(changed) + gone
