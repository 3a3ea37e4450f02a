"""The rota from facts to a stored plan: who is planned, who rests and why, pins, vetoes, publishing."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from apps.accounts.models import AuditRow, Person
from apps.accounts.selectors import system_person
from apps.animals.choices import HoldWord
from apps.animals.errors import LineageFaulty
from apps.animals.models import Animal, Species, TraitValue
from apps.animals.selectors.mates import mates_of
from apps.animals.services import hold_place, trait_value_set
from apps.breeding.choices import WishKind
from apps.breeding.errors import WishRefused
from apps.breeding.models import Rota, RotaLine, RotaWish
from apps.breeding.selectors.rota import rota_question
from apps.breeding.selectors.rota_values import pair_values
from apps.breeding.services import (
    rota_pin,
    rota_plan,
    rota_publish,
    rota_veto,
    rota_visit_begin,
    rota_wish_withdraw,
    rotas_plan_all,
)
from apps.care.services import weight_record
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, NotAllowed, WrongState
from apps.engines.rota import rota_faults
from tests.factories.animals import make_female, make_male
from tests.factories.breeding import breeder, breeding_rack, moment, python_of, scanned, stud, tubs_of, visited

pytestmark = pytest.mark.django_db
As = Callable[[Person], Client]

EARLY = ((50, 8.0), (26, 10.5), (4, 13.0))


@pytest.fixture
def species(female: Animal, others: list[Animal], male: Animal, owner: Person) -> Species:
    """Four females that grow, one male."""
    for animal in (female, *others):
        scanned(owner, animal, EARLY)
    return female.species


def plan(by: Person, species: Species) -> Rota:
    return rota_plan(by=by, species=species, seconds=3)


def test_a_plan_with_reasons_a_bound_and_a_greedy_one_beside(lead: Person, species: Species, male: Animal) -> None:
    rota = plan(lead, species)
    assert rota.is_current
    assert rota.unit == "young"
    assert 0 < rota.greedy_value <= rota.value + 1e-6
    assert rota.value <= rota.bound + 1e-6
    assert 0 <= rota.gap < 0.5
    lines = list(rota.lines.all())
    assert lines
    assert all(line.male == male and line.on >= clock.today() for line in lines)
    assert any("lies in her window" in sentence for sentence in lines[0].because)
    assert any("Without it the season would lose" in sentence for sentence in lines[0].because)
    assert AuditRow.objects.get(act="rota.plan").by == lead
    question = rota_question(species)
    assert question is not None
    assert question.input_hash == rota.input_hash


def test_unchanged_facts_write_nothing_and_changed_ones_a_new_plan(
    lead: Person, species: Species, male: Animal, owner: Person
) -> None:
    first = plan(lead, species)
    assert plan(lead, species) == first
    assert "unchanged" in rotas_plan_all(by=system_person(), seconds=3)
    second_male = stud(owner, "PR-0133")
    again = plan(lead, species)
    assert again != first
    assert Rota.objects.filter(is_current=True).get() == again
    assert second_male.ref in again.males


def test_a_male_that_lost_nearly_the_limit_rests_and_a_pin_says_why(
    lead: Person, owner: Person, species: Species, female: Animal, others: list[Animal]
) -> None:
    tired = stud(owner, "PR-0126", mass_g=1000, weighed_days_ago=40)
    weight_record(by=owner, animal=tired, mass_g=910, observed_at=moment(2))
    rota = plan(lead, species)
    assert not rota.lines.filter(male=tired).exists()
    note = next(row for row in rota.notes["idle"] if row["code"] == "PR-0126")
    assert "lost 9.0 %" in note["why"][0]
    with pytest.raises(WishRefused, match=r"PR-0126: lost 9\.0 % .* rests from 8 %"):
        rota_pin(by=lead, female=female, male=tired, week_of=clock.today(), reason="best Clown")
    assert not RotaWish.objects.exists()
    weight_record(by=owner, animal=tired, mass_g=925, observed_at=moment(1))
    assert rota_pin(by=lead, female=female, male=tired, week_of=clock.today(), reason="best Clown")


def test_a_pin_is_planned_a_veto_is_not_and_both_can_be_taken_back(
    lead: Person, keeper: Person, species: Species, female: Animal, male: Animal
) -> None:
    week = clock.today() + timedelta(weeks=3)
    pin = rota_pin(by=lead, female=female, male=male, week_of=week, reason="his last season")
    rota = plan(lead, species)
    pinned = rota.lines.get(female=female, is_pinned=True)
    assert pinned.on.isocalendar()[:2] == week.isocalendar()[:2]
    assert pinned.because[0] == "Pinned: his last season."
    with pytest.raises(Duplicate, match="already"):
        rota_pin(by=lead, female=female, male=male, week_of=week, reason="again")
    rota_wish_withdraw(by=lead, wish=pin)
    with pytest.raises(WrongState, match="withdrawn already"):
        rota_wish_withdraw(by=lead, wish=pin)
    veto = rota_veto(by=lead, female=female, male=male, reason="bit her last year")
    assert not plan(lead, species).lines.filter(female=female).exists()
    assert veto.kind == WishKind.VETO
    with pytest.raises(NotAllowed):
        rota_veto(by=keeper, female=female, male=male, reason="no")


def test_bad_wishes_name_their_field(lead: Person, species: Species, female: Animal, male: Animal) -> None:
    today = clock.today()
    for values, field in (
        ({"female": male, "male": male, "week_of": today, "reason": "x"}, "female"),
        ({"female": female, "male": female, "week_of": today, "reason": "x"}, "male"),
        ({"female": female, "male": male, "week_of": today, "reason": " "}, "reason"),
        ({"female": female, "male": male, "week_of": today - timedelta(weeks=1), "reason": "x"}, "week_of"),
        ({"female": female, "male": male, "week_of": today + timedelta(weeks=60), "reason": "x"}, "week_of"),
    ):
        with pytest.raises(Invalid) as wrong:
            rota_pin(by=lead, **values)  # type: ignore[arg-type]
        assert wrong.value.field == field
    assert not RotaWish.objects.exists()


def test_holds_health_groups_and_kinship_keep_animals_apart(
    lead: Person, owner: Person, species: Species, female: Animal, others: list[Animal], male: Animal
) -> None:
    far = stud(owner, "PR-0801", tub=tubs_of(breeding_rack(owner, "Rack Z", group="Annex"))[0])
    brother = stud(owner, "PR-0802", dam=others[0], hatched_on=clock.today() - timedelta(days=500))
    hold_place(
        by=lead, word=HoldWord.QUARANTINE, begins_at=moment(2), ends_at=None, reason="new arrival", animal=others[1]
    )
    question = rota_question(species)
    assert question is not None
    assert "health groups" in question.blocked[female.pk, far.pk]
    assert "kinship 0.250" in question.blocked[others[0].pk, brother.pk]
    assert others[1].code in {one.animal.code for one in question.idle}
    with pytest.raises(WishRefused, match=r"kinship 0\.250"):
        rota_pin(by=lead, female=others[0], male=brother, week_of=clock.today(), reason="line")
    rota = plan(lead, species)
    assert not rota.lines.filter(female=others[1]).exists()
    assert not rota.lines.filter(male=far).exists()
    assert rota.notes["apart"] >= 2


def test_a_visit_begun_and_one_that_just_ended_keep_him_busy(
    lead: Person, keeper: Person, species: Species, female: Animal, others: list[Animal], male: Animal
) -> None:
    visited(keeper, others[0], male, days_ago=2, days=1)
    question = rota_question(species)
    assert question is not None
    assert question.males[0].free_on == (clock.today() - question.first_day).days + 2
    rota = plan(lead, species)
    line = rota.lines.order_by("on").first()
    assert line is not None
    assert line.on >= clock.today() + timedelta(days=2)
    visit = rota_visit_begin(by=keeper, line=line)
    assert visit.male == male
    assert "he rests 3 days" in visit.against_gate
    with pytest.raises(WrongState, match="began already"):
        rota_visit_begin(by=keeper, line=line)
    assert RotaLine.objects.get(pk=line.pk).visit == visit


def test_published_is_what_stands_once(lead: Person, keeper: Person, owner: Person, species: Species) -> None:
    rota = plan(lead, species)
    with pytest.raises(NotAllowed):
        rota_publish(by=keeper, rota=rota)
    assert rota_publish(by=lead, rota=rota).published_by == lead
    with pytest.raises(WrongState, match="published already"):
        rota_publish(by=lead, rota=rota)
    stud(owner, "PR-0133")
    newer = plan(lead, species)
    assert newer.pk != rota.pk
    with pytest.raises(WrongState, match="published already"):
        rota_publish(by=lead, rota=rota)


def test_the_rota_values_a_pair_as_the_list_of_mates_does(lead: Person, species: Species) -> None:
    """One rule: the closest-speaking value a young meets; a het counts where it is surely carried."""
    dam, sire = make_female(code="PR-0901", traits="het Clown"), make_male(code="PR-0902", traits="Clown")
    for notation, amount in (("normal", 4_000), ("het Clown", 9_000), ("Clown", 30_000)):
        trait_value_set(by=lead, species=species, notation=notation, amount_minor=amount)
    values, unit = pair_values(species, [(dam, sire)], seconds=5.0)
    mate = next(one for one in mates_of(dam).suggested if one.animal == sire)
    assert mate.worth == 19_500
    assert values[(dam.traits, sire.traits)] == pytest.approx(float(mate.worth) / 100)
    assert unit == mates_of(dam).currency


def test_trait_values_turn_young_into_money(lead: Person, species: Species) -> None:
    for notation, amount in (("normal", 40_00), ("Clown", 900_00)):
        TraitValue.objects.create(
            species=species, notation=notation, amount_minor=amount, currency="USD", set_at=clock.now(), by=lead
        )
    rota = plan(lead, species)
    assert rota.unit == "USD"
    assert rota.value > 100
    # her own statement is Pastel Clown, his Mojave Clown: every young is a Clown
    line = rota.lines.filter(female__code="PR-0412").first()
    assert line is not None
    assert any("USD" in sentence for sentence in line.because)


def test_a_plan_that_breaks_a_rule_is_not_kept(lead: Person, species: Species, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("apps.engines.rota.rota_faults", lambda *_: ["male 0: no rest"])
    with pytest.raises(WrongState, match="male 0: no rest"):
        plan(lead, species)
    assert not Rota.objects.exists()


def looped(by: Person, dam: Animal) -> None:
    """She is her own grandmother: rows that no service writes."""
    daughter = python_of(by, "PR-0950")
    Animal.objects.filter(pk=daughter.pk).update(dam=dam)
    Animal.objects.filter(pk=dam.pk).update(dam=daughter)


class TestLineageFault:
    """Without kinship there is no limit: a lineage that cannot be stops planning, pinning and publishing, in words."""

    def test_planning_pinning_and_publishing_are_refused_and_the_plan_before_stands(
        self, lead: Person, species: Species, female: Animal, male: Animal, others: list[Animal]
    ) -> None:
        before = plan(lead, species)
        looped(lead, others[0])
        with pytest.raises(LineageFaulty, match=r"PR-0(501|950) is among its own ancestors .*Correct a parent"):
            plan(lead, species)
        with pytest.raises(LineageFaulty, match="among its own ancestors"):
            rota_pin(by=lead, female=female, male=male, week_of=clock.today(), reason="wanted")
        with pytest.raises(LineageFaulty, match="Not published"):
            rota_publish(by=lead, rota=before)
        assert not RotaWish.objects.exists()
        assert Rota.objects.filter(is_current=True, published_at__isnull=True).get() == before
        assert "among its own ancestors" in rotas_plan_all(by=system_person(), seconds=3)
        Animal.objects.filter(pk=others[0].pk).update(dam=None)
        assert rota_publish(by=lead, rota=before).published_at is not None

    def test_a_parent_of_the_wrong_sex_is_named_too(self, lead: Person, species: Species, male: Animal) -> None:
        daughter = python_of(lead, "PR-0951")
        Animal.objects.filter(pk=daughter.pk).update(dam=male)
        with pytest.raises(LineageFaulty, match="PR-0118, the dam of PR-0951, is recorded as male"):
            plan(lead, species)
        assert not Rota.objects.exists()

    def test_the_page_says_so_above_the_plan(
        self, client_as: As, lead: Person, species: Species, others: list[Animal]
    ) -> None:
        looped(lead, others[0])
        page = client_as(lead).get("/rota/").content.decode()
        assert "Nothing is planned, pinned or published while the lineage has a fault" in page
        assert "PR-0501" in page
        client_as(lead).post("/rota/", {"act": "plan"})
        assert not Rota.objects.exists()
        assert "among its own ancestors" in client_as(lead).get("/rota/").content.decode()


def test_the_question_costs_the_same_for_more_animals(owner: Person, species: Species) -> None:

    with CaptureQueriesContext(connection) as few:
        rota_question(species)
    for number in range(6):
        scanned(owner, breeder(owner, f"PR-09{number:02d}"), EARLY)
        stud(owner, f"PR-08{number:02d}")
    with CaptureQueriesContext(connection) as many:
        question = rota_question(species)
    assert len(many) <= len(few) + 2
    assert question is not None
    assert question.problem.females == 10
    found = question.problem
    assert rota_faults(found, []) == []


def test_the_same_through_the_api(lead: Person, keeper: Person, species: Species, female: Animal, male: Animal) -> None:
    client = APIClient()
    client.force_authenticate(lead)
    week = (clock.today() + timedelta(weeks=2)).isoformat()
    wish = {"kind": "pin", "female": female.ref, "male": male.ref, "week_of": week, "reason": "wanted"}
    assert client.post("/api/v1/rota-wishes/", {**wish, "week_of": None}, format="json").status_code == 400
    pinned = client.post("/api/v1/rota-wishes/", wish, format="json")
    assert pinned.status_code == 201, pinned.content
    made = client.post("/api/v1/rotas/", {"species": "ball python"}, format="json")
    assert made.status_code == 201, made.content
    body = made.json()
    assert body["gap"] < 0.5
    assert any(line["is_pinned"] for line in body["lines"])
    assert len(client.get("/api/v1/rotas/?current=true").json()["results"]) == 1
    assert client.post(f"/api/v1/rotas/{body['ref']}/publish/").json()["published_at"]
    assert client.post(f"/api/v1/rota-wishes/{pinned.json()['ref']}/withdraw/").json()["withdrawn_at"]
    client.force_authenticate(keeper)
    first = body["lines"][0]["ref"]
    begun = client.post(f"/api/v1/rota-lines/{first}/begin/")
    assert begun.status_code == 201, begun.content
    assert client.post("/api/v1/rotas/", {"species": "ball python"}, format="json").status_code == 403


class TestPage:
    """The week grid, with and without a plan, and every act on it."""

    def test_without_a_plan_it_says_what_to_do(self, client_as: As, lead: Person, species: Species) -> None:
        page = client_as(lead).get("/rota/")
        assert page.status_code == 200
        assert "No rota yet" in page.content.decode()

    def test_planned_published_pinned_withdrawn_and_begun(
        self, client_as: As, lead: Person, keeper: Person, species: Species, female: Animal, male: Animal
    ) -> None:
        client = client_as(lead)
        assert client.post("/rota/", {"act": "plan"}).status_code == 302
        rota = Rota.objects.get(is_current=True)
        first = rota.lines.order_by("on").first()
        assert first is not None
        page = client.get(f"/rota/?week={first.on}").content.decode()
        assert "PR-0118" in page
        assert "every young counts 1" in page
        assert "Without it the season would lose" in page
        week = (clock.today() + timedelta(weeks=2)).isoformat()
        asked = {"act": "pin", "male": "PR-0118", "female": "PR-0412", "week_of": week, "reason": "wanted"}
        assert client.post("/rota/", {**asked, "reason": ""}).status_code == 400
        assert client.post("/rota/", asked).status_code == 302
        wish = RotaWish.objects.get()
        assert "pinned in the week of" in client.get("/rota/").content.decode()
        client.post("/rota/", {"act": "withdraw", "wish": wish.ref})
        client.post("/rota/", {"act": "veto", "male": "PR-0118", "female": "PR-0412", "reason": "bites"})
        assert "vetoed in any week" in client.get("/rota/").content.decode()
        client.post("/rota/", {"act": "publish", "rota": rota.ref})
        assert "published" in client.get("/rota/").content.decode()
        line = rota.lines.order_by("on").first()
        assert line is not None
        client_as(keeper).post("/rota/", {"act": "begin", "line": line.ref})
        assert RotaLine.objects.get(pk=line.pk).visit is not None

    def test_a_refused_pin_gives_its_reason_and_an_observer_only_looks(
        self, client_as: As, lead: Person, owner: Person, observer: Person, species: Species
    ) -> None:
        tired = stud(owner, "PR-0126", mass_g=1000, weighed_days_ago=40)
        weight_record(by=owner, animal=tired, mass_g=910, observed_at=moment(2))
        rota_plan(by=lead, species=species, seconds=3)
        asked = {"act": "pin", "male": "PR-0126", "female": "PR-0412", "week_of": clock.today(), "reason": "wanted"}
        refused = client_as(lead).post("/rota/", asked)
        assert refused.status_code == 400
        assert "he rests from 8 %" in refused.content.decode()
        page = client_as(observer).get("/rota/")
        assert "Males that rest" in page.content.decode()
        assert client_as(observer).post("/rota/", asked).status_code == 403
        assert client_as(observer).get("/rota/?week=nonsense").status_code == 404
