"""Pictures are pure functions: the same facts give the same words and marks."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from datetime import date

from apps.care.pages.weights_svg import WeightPoint, weights_svg
from apps.dashboards.pages.parents_svg import Ancestor, parents_svg
from apps.dashboards.pages.words import age_words, today_words
from apps.dashboards.selectors.today import Today

TODAY = date(2027, 4, 6)
SVG = "{http://www.w3.org/2000/svg}"


def test_weights_need_two_sound_points() -> None:
    assert weights_svg([], today=TODAY) == ""
    assert weights_svg([WeightPoint(date(2027, 1, 1), 1500)], today=TODAY) == ""
    doubtful = WeightPoint(date(2027, 2, 1), 150, doubtful=True)
    assert weights_svg([WeightPoint(date(2027, 1, 1), 1500), doubtful], today=TODAY) == ""


def test_weights_are_told_in_words_and_doubtful_ones_stay_off_the_line() -> None:
    points = [
        WeightPoint(date(2027, 3, 29), 1743),
        WeightPoint(date(2027, 2, 1), 174, doubtful=True),
        WeightPoint(date(2027, 1, 4), 1679),
    ]
    tree = ET.fromstring(weights_svg(points, today=TODAY))
    desc = tree.find(f"{SVG}desc")
    assert desc is not None
    assert desc.text == "2 weights from 1,679 g on 4 Jan 2027 to 1,743 g on 29 Mar 2027, up 64 g."
    dots = [node.get("class") for node in tree.iter(f"{SVG}circle")]
    assert dots == ["f-print", "scan-doubtful", "f-print"]
    curve = next(node for node in tree.iter(f"{SVG}path") if node.get("class") == "weight")
    assert (curve.get("d") or "").count("L") == 1


def test_a_heavier_weight_stands_higher_and_later_stands_right() -> None:
    tree = ET.fromstring(
        weights_svg([WeightPoint(date(2027, 1, 4), 1000), WeightPoint(date(2027, 3, 4), 1200)], today=TODAY)
    )
    first, last = list(tree.iter(f"{SVG}circle"))
    assert float(last.get("cy") or 0) < float(first.get("cy") or 0)
    assert float(last.get("cx") or 0) > float(first.get("cx") or 0)


def test_equal_weights_draw_too() -> None:
    same = [WeightPoint(TODAY, 1000), WeightPoint(TODAY, 1000)]
    assert "NaN" not in weights_svg(same, today=TODAY)


def grand(code: str, sex: str) -> Ancestor:
    return Ancestor(code, "Pastel", sex, code.lower().ljust(10, "b"))


def test_two_generations_with_the_same_grandsire_twice() -> None:
    old = grand("PR-31", "male")
    sire = Ancestor("PR-93", "", "male", "sire222222", is_dead=True, sire=old, dam=grand("PR-44", "female"))
    dam = Ancestor("PR-147", "Pastel", "female", "dam2222222", sire=old)
    picture = parents_svg(Ancestor("PR-412", "Pastel Clown", "female", "self222222", dam=dam, sire=sire))
    tree = ET.fromstring(picture)
    desc = tree.find(f"{SVG}desc")
    assert desc is not None
    assert desc.text == "Parents of PR-412: sire PR-93, dam PR-147. Twice in the picture: PR-31."
    links = [node.get("href") for node in tree.iter(f"{SVG}a")]
    assert links.count(f"/animals/{old.ref}/") == 2
    assert "/animals/self222222/" not in links
    assert picture.count("dam not known") == 1
    assert picture.count("l-dash") == 1
    assert picture.count("f-wash") == 2


def test_nobody_known_and_hostile_words() -> None:
    picture = parents_svg(Ancestor('<b>"', "<i>", "unknown", "self222222"))
    ET.fromstring(picture)
    assert "<b>" not in picture
    assert "Parents of &lt;b&gt;&quot;: not known." in picture


def test_ages() -> None:
    for born, words in (
        (None, ""),
        (date(2027, 3, 20), "17 days"),
        (date(2027, 4, 5), "1 day"),
        (date(2027, 1, 7), "89 days"),
        (date(2027, 1, 6), "3 months"),
        (date(2025, 4, 7), "23 months"),
        (date(2025, 4, 6), "2 years"),
        (date(2019, 4, 7), "7 years"),
    ):
        assert age_words(born, TODAY) == words, born


def test_the_day_in_one_sentence() -> None:
    assert today_words(Today()) == "Nothing is due now."
    assert (
        today_words(Today(scan_count=1, pipping=3, note_count=2))
        == "1 scan due, 3 eggs pipping and 2 open health notes."
    )
