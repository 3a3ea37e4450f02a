"""The shipped catalogues, and small invented ones for what no shipped trait does."""

from __future__ import annotations

import pytest

from apps.animals.selectors.knowledge_traits import trait_catalogue
from apps.engines.genetics.catalogue import Catalogue


@pytest.fixture(scope="session")
def ball() -> Catalogue:
    return trait_catalogue("ball_python")


@pytest.fixture(scope="session")
def corn() -> Catalogue:
    return trait_catalogue("corn snake")


@pytest.fixture(scope="session")
def boa() -> Catalogue:
    return trait_catalogue("Boa imperator")


@pytest.fixture(scope="session")
def gecko() -> Catalogue:
    return trait_catalogue("Eublepharis macularius")
