"""Crosses of recorded animals: the record's belief is echoed, and a recorded pair's kinship comes with it."""

from __future__ import annotations

from typing import Any

import pytest

from apps.animals.selectors.what_if import cross_what_if
from apps.core.questions import QuestionError
from tests.factories.animals import make_animal, make_female, make_male

pytestmark = pytest.mark.django_db


def ask(dam: str, sire: str) -> dict[str, Any]:
    return cross_what_if({"species": "ball python", "dam": {"code": dam}, "sire": {"code": sire}, "clutch_size": 6})


def test_two_recorded_animals(knowledge: None) -> None:
    """Half-sibs through one sire: their young's F is 1/8 (textbook)."""
    old = make_male(traits="Clown")
    dam = make_female(traits="66% het Clown", sire=old, hatched_on=None, acquired_on=None)
    sire = make_male(traits="Pastel het Clown", sire=old, hatched_on=None, acquired_on=None)
    answer = ask(dam.code, sire.code)
    assert answer["parents"]["dam"]["code"] == dam.code
    assert answer["parents"]["dam"]["notation"] == "normal 66% het Clown"
    assert answer["parents"]["sire"]["belief"]["PAS"]["het Pastel"]["exact"] == "1"
    assert answer["kinship"] == {
        "a": dam.code,
        "b": sire.code,
        "f": 0.125,
        "through": [{"ancestor": old.code, "paths": 1, "contribution": 0.125}],
    }


def test_codes_that_do_not_fit(knowledge: None) -> None:
    male, female = make_male(), make_female()
    boa = make_animal(of="Boa imperator")
    for dam, path in ((male.code, "$.dam.code"), ("PR-9999", "$.dam.code"), (boa.code, "$.dam.code")):
        with pytest.raises(QuestionError) as caught:
            ask(dam, male.code)
        assert caught.value.path == path
    assert ask(female.code, male.code)["kinship"]["f"] == 0.0
