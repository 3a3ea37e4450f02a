"""The shipped trait catalogues, read from their files once per process. No database."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import yaml
from django.conf import settings

from apps.engines.genetics.catalogue import Catalogue
from apps.engines.genetics.catalogue_reader import Plain, catalogue_from_mapping

TRAITS = Path("fixtures/reference/traits")


@lru_cache(maxsize=1)
def trait_files() -> dict[str, Plain]:
    """Every shipped trait file as it is written, by scientific name. Nobody changes what is returned."""
    folder = Path(settings.BASE_DIR) / TRAITS
    read = (yaml.safe_load(path.read_text(encoding="utf-8")) for path in sorted(folder.glob("*.yaml")))
    return {str(mapping["species"]): mapping for mapping in read}


@lru_cache(maxsize=1)
def empty_file() -> Plain:
    """What a catalogue starts from where none is shipped; the species' names are put in by the caller."""
    path = Path(settings.BASE_DIR) / TRAITS / "new" / "empty.yaml"
    read: Plain = yaml.safe_load(path.read_text(encoding="utf-8"))
    return read


@lru_cache(maxsize=1)
def trait_catalogues() -> tuple[Catalogue, ...]:
    """Every shipped catalogue, by species slug. Raises CatalogueError when a file contradicts itself."""
    return tuple(catalogue_from_mapping(mapping) for mapping in trait_files().values())


def trait_catalogue(species: str) -> Catalogue:
    """The catalogue of one species, by scientific name, common name or slug. Raises KeyError when there is none."""
    wanted = " ".join(species.casefold().replace("_", " ").split())
    for catalogue in trait_catalogues():
        if wanted in {
            catalogue.species.casefold(),
            catalogue.common_name.casefold(),
            catalogue.slug.casefold().replace("_", " "),
        }:
            return catalogue
    raise KeyError(species)


def trait_species() -> tuple[str, ...]:
    """Scientific names that have a catalogue, for error texts."""
    return tuple(catalogue.species for catalogue in trait_catalogues())
