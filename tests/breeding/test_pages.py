"""Pages of the season: they answer, keep what was typed, ask for rights, and do not grow in queries."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.breeding.choices import NoReading, SeasonState
from apps.breeding.models import AdviceOverride, Lock, Scan, ScanRound, Season, SeasonForecast, Visit
from apps.breeding.services import forecasts_refresh, scan_record, scan_round_close, scan_round_open, scan_skip
from apps.care.models import Weight
from apps.core import clock
from apps.documents.models import Document
from apps.documents.selectors import document_path
from apps.places.models import Rack
from tests.factories.breeding import GROWING, NEAR, breeder, gravid, moment, round_of, scanned, season, tubs_of, visited

pytestmark = pytest.mark.django_db
As = Callable[[Person], Client]


def text(answer: object) -> str:
    """The page as text."""
    return answer.content.decode()  # type: ignore[attr-defined,no-any-return]


# --- the board ------------------------------------------------------------------------------------------------------


def test_an_empty_board_says_what_will_stand_there(client_as: As, keeper: Person, frozen: object) -> None:
    page = client_as(keeper).get("/season/")
    assert page.status_code == 200
    assert "once she has a scan or a visit" in text(page)


def test_the_board_says_its_state_in_words(
    client_as: As, lead: Person, keeper: Person, female: Animal, others: list[Animal]
) -> None:
    scanned(keeper, female, NEAR)
    scanned(keeper, others[0])
    gravid(lead, others[1], days_ago=80)
    page = text(client_as(keeper).get("/season/"))
    assert "Season 2026/27" in page
    assert "3 females" in page
    assert "1 is late with her eggs" in page
    assert "1 is about to ovulate" in page
    assert "gravid, late" in page
    assert page.count('<tr id="f-') == 3


@pytest.mark.parametrize("order", ["laying", "stage", "growth", "rack"])
def test_the_board_is_sorted(client_as: As, keeper: Person, female: Animal, others: list[Animal], order: str) -> None:
    for place, one in enumerate([female, *others]):
        scanned(keeper, one, [(days, mm + place) for days, mm in GROWING])
    page = text(client_as(keeper).get(f"/season/?order={order}"))
    codes = [one.code for one in (female, *others)]
    found = sorted(codes, key=page.index)
    assert found == (codes if order == "rack" else found)
    if order == "laying":
        dates = [SeasonForecast.objects.get(season__female__code=code, is_current=True).laying_p50 for code in found]
        assert dates == sorted(dates, key=lambda day: day or clock.today())


def test_filters_keep_what_was_asked(client_as: As, keeper: Person, female: Animal, others: list[Animal]) -> None:
    scanned(keeper, female, NEAR)
    scanned(keeper, others[0], ((30, 8.0),))
    client = client_as(keeper)
    assert "1 of 2 females" in text(client.get("/season/?find=pastel"))
    assert text(client.get("/season/?stage=preovulatory")).count('<tr id="f-') == 1
    assert text(client.get("/season/?only=needs")).count('<tr id="f-') == 1
    nothing = text(client.get("/season/?find=zzz"))
    assert "No female of this season is like that" in nothing
    assert 'value="zzz"' in nothing
    assert client.get("/season/?year=1812&page=x&order=y").status_code == 200


def test_a_row_opens_with_its_reasons(client_as: As, keeper: Person, female: Animal) -> None:
    scanned(keeper, female, NEAR)
    client = client_as(keeper)
    reason = SeasonForecast.objects.get(is_current=True).answer["advice"][0]["because"][0]
    assert reason not in text(client.get("/season/"))
    assert reason in text(client.get(f"/season/?open={female.ref}"))
    part = client.get(f"/season/rows/{season(female).ref}/?row=open", headers={"HX-Request": "true"})
    assert reason in text(part)
    assert text(part).count("<tr") == 1
    assert client.get("/season/rows/bcdfghjkmn/").status_code == 404


def test_queries_do_not_grow_with_the_rows(
    client_as: As, owner: Person, keeper: Person, rack: Rack, female: Animal, others: list[Animal]
) -> None:
    scanned(keeper, female)
    client = client_as(keeper)
    client.get("/season/")
    with CaptureQueriesContext(connection) as few:
        client.get("/season/")
    for place, one in enumerate(others):
        scanned(keeper, one, NEAR)
        visited(keeper, one, breeder(owner, f"PM-{place}", sex="male", mass_g=900))
    with CaptureQueriesContext(connection) as many:
        client.get("/season/")
    assert len(many) == len(few)
    assert len(many) <= 40


# --- a female's season ----------------------------------------------------------------------------------------------


def test_her_page_before_and_after_the_first_scan(client_as: As, lead: Person, female: Animal) -> None:
    client = client_as(lead)
    assert "Her season opens with her first scan or visit" in text(client.get(f"/season/{female.ref}/"))
    done = client.post(f"/season/{female.ref}/", {"act": "scan", "mm": "12,5"}, follow=True)
    assert "PR-0412: 12.5 mm." in text(done)
    assert Scan.objects.get().mm == 12.5


def test_a_refused_entry_keeps_what_was_typed(client_as: As, keeper: Person, female: Animal) -> None:
    answer = client_as(keeper).post(f"/season/{female.ref}/", {"act": "scan", "mm": "98", "count": "7"})
    assert answer.status_code == 400
    page = text(answer)
    assert "98 mm is beyond any follicle of this species" in page
    assert 'value="98"' in page
    assert 'value="7"' in page
    assert not Scan.objects.exists()
    words = text(client_as(keeper).post(f"/season/{female.ref}/", {"act": "scan", "mm": "big"}))
    assert "such as 36.6" in words


def test_visits_locks_and_ends_from_her_page(client_as: As, keeper: Person, female: Animal, male: Animal) -> None:
    client = client_as(keeper)
    url = f"/season/{female.ref}/"
    assert "no animal with the code" in text(client.post(url, {"act": "visit", "male": "PR-9999"}))
    client.post(url, {"act": "visit", "male": "pr-0118"})
    visit = Visit.objects.get()
    client.post(url, {"act": "lock", "visit": visit.ref})
    assert Lock.objects.count() == 1
    assert "Lock seen with PR-0118" in text(client.get(url))
    client.post(url, {"act": "end", "visit": visit.ref})
    visit.refresh_from_db()
    assert visit.ended_at is not None
    client.post(url, {"act": "strike_visit", "visit": visit.ref})
    visit.refresh_from_db()
    assert visit.struck_at is not None


def test_steps_of_her_cycle_from_her_page(client_as: As, lead: Person, female: Animal) -> None:
    scanned(lead, female, NEAR)
    client, url = client_as(lead), f"/season/{female.ref}/"
    today = clock.today().isoformat()
    client.post(url, {"act": "ovulation", "on": today})
    assert season(female).cycles.get().ovulated_on == clock.today()
    refused = client.post(url, {"act": "regression", "on": today})
    assert refused.status_code == 400
    assert "cannot follow" in text(refused)
    client.post(url, {"act": "withdraw", "fact": "ovulation", "reason": "wrong animal"})
    assert season(female).cycles.get().ovulated_on is None
    client.post(url, {"act": "rest", "why": "thin"})
    assert season(female).state == SeasonState.RESTED
    client.post(url, {"act": "reopen"})
    assert season(female).state == SeasonState.OPEN
    forecast = SeasonForecast.objects.get(is_current=True)
    entry = {
        "act": "override",
        "forecast": forecast.pk,
        "act_advised": forecast.act,
        "instead": "wait",
        "reason": "tired",
    }
    client.post(url, entry)
    assert AdviceOverride.objects.get().reason == "tired"
    assert "against “" in text(client.get(url))
    scan = Scan.objects.latest("observed_at")
    client.post(url, {"act": "strike_scan", "scan": scan.ref, "reason": "wrong value"})
    scan.refresh_from_db()
    assert scan.struck_at is not None


def test_each_reason_opens_its_row(client_as: As, lead: Person, keeper: Person, female: Animal, male: Animal) -> None:
    scanned(keeper, female, NEAR)
    visit = visited(keeper, female, male)
    last = Scan.objects.latest("observed_at")
    client, url = client_as(lead), f"/season/{female.ref}/"
    page = text(client.get(url))
    assert f'href="{url}?year=2026#scan-{last.pk}">reading</a>' in page
    assert f'<tr id="scan-{last.pk}">' in page
    assert f'href="{url}?year=2026#readings">6 readings</a>' in page
    assert f'href="{url}?year=2026#visit-{visit.pk}">visit</a>' in page
    assert f'<tr id="visit-{visit.pk}">' in page
    weight = Weight.objects.create(
        animal=female, mass_g=1450, observed_at=clock.now(), recorded_at=clock.now(), by=keeper
    )
    forecasts_refresh(by=lead, seasons=[season(female)])
    page = text(client.get(url))
    link = f"/animals/{female.ref}/care/?entry=weight-{weight.pk}#weight-{weight.pk}"
    assert f'href="{link}">weight</a>' in page, "feed up rests on the weight"
    assert f'id="weight-{weight.pk}"' in text(client.get(link.partition("#")[0]))


def test_an_old_entry_is_shown_where_a_reason_links_to_it(client_as: As, lead: Person, female: Animal) -> None:
    """Her care page lists the newest entries; the one asked for stands there too, another animal's does not."""
    old = Weight.objects.get(animal=female)
    Weight.objects.bulk_create(
        Weight(animal=female, mass_g=1800, observed_at=moment(n / 50), recorded_at=clock.now(), by=lead)
        for n in range(25)
    )
    client, url = client_as(lead), f"/animals/{female.ref}/care/"
    row = f'id="weight-{old.pk}"'
    assert row not in text(client.get(url))
    assert row in text(client.get(f"{url}?entry=weight-{old.pk}"))
    assert client.get(f"{url}?entry=weight-999999&entry=x&entry=stone-3").status_code == 200


def test_rights_on_her_page(client_as: As, keeper: Person, observer: Person, female: Animal, male: Animal) -> None:
    url = f"/season/{female.ref}/"
    assert client_as(observer).get(url).status_code == 200
    for act in ("scan", "visit", "ovulation", "rest"):
        assert client_as(observer).post(url, {"act": act}).status_code == 403
    assert client_as(keeper).post(url, {"act": "ovulation", "on": "2027-04-06"}).status_code == 403
    assert client_as(keeper).post(url, {"act": "dance"}).status_code == 404
    assert client_as(keeper).get(f"/season/{male.ref}/").status_code == 404
    assert client_as(keeper).get("/season/bcdfghjkmn/").status_code == 404
    assert client_as(keeper).get(f"{url}?year=1999").status_code == 404


# --- scan rounds ----------------------------------------------------------------------------------------------------


def test_a_round_is_opened_for_rooms(client_as: As, keeper: Person, female: Animal, rack: Rack) -> None:
    client = client_as(keeper)
    assert "Choose at least one room" in text(client.post("/scan/", {}))
    answer = client.post("/scan/", {"rooms": [rack.room.ref]})
    made = ScanRound.objects.get()
    assert answer["Location"] == f"/scan/{made.ref}/"
    assert "is open in one of these rooms" in text(client.post("/scan/", {"rooms": [rack.room.ref]}))


def test_enter_saves_and_moves_on(client_as: As, keeper: Person, female: Animal, others: list[Animal]) -> None:
    scanned(keeper, female)
    scan_round = round_of(keeper, [female, *others])
    client, url = client_as(keeper), f"/scan/{scan_round.ref}/"
    first = text(client.get(url))
    assert "0 of 4" in first
    assert "PR-0412" in first
    assert "28.0 mm" in first, "her last diameter"
    plain = client.post(url, {"act": "save", "female": female.ref, "mm": "31.4"})
    assert plain["Location"] == f"{url}?at={others[0].ref}"
    page = text(client.get(plain["Location"]))
    assert "1 of 4" in page
    reasons = SeasonForecast.objects.get(season=season(female), is_current=True).answer["advice"][0]["because"]
    assert all(reason in page for reason in reasons), "advice stands there at once, with its reasons"
    part = client.post(url, {"act": "save", "female": others[0].ref, "mm": "9"}, headers={"HX-Request": "true"})
    assert part.status_code == 200
    assert "<html" not in text(part)
    assert "2 of 4" in text(part)


def test_a_questioned_value_waits_and_the_round_goes_on(
    client_as: As, keeper: Person, female: Animal, others: list[Animal]
) -> None:
    scan_round = round_of(keeper, [female, *others])
    client, url = client_as(keeper), f"/scan/{scan_round.ref}/"
    moved = client.post(url, {"act": "save", "female": female.ref, "mm": "98"}, follow=True)
    page = text(moved)
    assert "98 mm cannot be a follicle" in page
    assert "keep as read, marked doubtful" in page
    assert 'value="98"' not in page, "the next female's field is empty"
    assert not Scan.objects.exists()
    refused = client.post(f"{url}close/", follow=True)
    assert "Answer first" in text(refused)
    assert scan_round.closed_at is None
    again = client.post(url, {"act": "again", "female": female.ref})
    assert again["Location"].endswith(f"?at={female.ref}")
    client.post(url, {"act": "save", "female": female.ref, "mm": "980"})
    client.post(url, {"act": "later", "female": female.ref, "back": others[0].ref})
    assert "cannot be a follicle" not in text(client.get(url))
    client.post(url, {"act": "save", "female": female.ref, "mm": "98"})
    client.post(url, {"act": "doubtful", "female": female.ref})
    scan = Scan.objects.get()
    assert (scan.mm, scan.doubtful) == (98.0, True)


def test_undo_skip_ovulated_and_jump(client_as: As, keeper: Person, female: Animal, others: list[Animal]) -> None:
    scan_round = round_of(keeper, [female, *others])
    client, url = client_as(keeper), f"/scan/{scan_round.ref}/"
    client.post(url, {"act": "save", "female": female.ref, "mm": "12"})
    back = client.post(url, {"act": "undo", "female": others[0].ref})
    assert back["Location"].endswith(f"?at={female.ref}")
    assert not Scan.objects.filter(struck_at__isnull=True).exists()
    client.post(url, {"act": "skip", "female": female.ref, "reason": NoReading.AGGRESSIVE.value})
    assert scan_round.lines.get(female=female).no_reading == NoReading.AGGRESSIVE
    client.post(url, {"act": "unskip", "female": female.ref})
    assert scan_round.lines.get(female=female).no_reading == ""
    client.post(url, {"act": "ovulated", "female": others[1].ref, "mm": "39.5"})
    assert season(others[1]).cycles.get().ovulated_on == clock.today()
    assert Scan.objects.get(animal=others[1]).mm == 39.5
    label = tubs_of(Rack.objects.get())[3].label
    assert client.post(url, {"act": "save", "female": female.ref, "mm": label})["Location"].endswith(others[2].ref)
    assert client.post(url, {"act": "save", "female": female.ref, "mm": "PR-0501"})["Location"].endswith(others[0].ref)
    nowhere = client.post(url, {"act": "save", "female": female.ref, "mm": "3Z-99"})
    assert nowhere.status_code == 400
    assert "neither a diameter nor a label of an animal" in text(nowhere)
    assert "no reading" in text(client.post(url, {"act": "save", "female": female.ref, "mm": ""}))


def test_a_preview_writes_nothing(client_as: As, keeper: Person, female: Animal) -> None:
    scanned(keeper, female)
    scan_round = round_of(keeper, [female])
    client = client_as(keeper)
    before = (Scan.objects.count(), SeasonForecast.objects.count())
    page = text(client.get(f"/scan/{scan_round.ref}/preview/", {"female": female.ref, "mm": "38.5"}))
    assert "With this number" in page
    assert "beyond any follicle" in text(
        client.get(f"/scan/{scan_round.ref}/preview/", {"female": female.ref, "mm": "98"})
    )
    assert "Type the diameter" in text(
        client.get(f"/scan/{scan_round.ref}/preview/", {"female": female.ref, "mm": "x"})
    )
    assert (Scan.objects.count(), SeasonForecast.objects.count()) == before


def test_the_round_ends_in_a_summary(client_as: As, keeper: Person, observer: Person, female: Animal) -> None:
    scanned(keeper, female)
    with clock.at(moment(-0.0005)):
        scan_round = round_of(keeper, [female])
    client, url = client_as(keeper), f"/scan/{scan_round.ref}/"
    with clock.at(moment(-0.001)):
        scan_record(by=keeper, female=female, mm=38.9, round=scan_round)
        assert "Everybody on the list is seen" in text(client.get(url))
        done = client.post(f"{url}close/")
        assert done["Location"] == f"{url}summary/"
        summary = text(client.get(done["Location"]))
    assert "1 of 1 females read; 1 moved to another stage" in summary
    assert "vitellogenic, now" in summary
    assert client.get(url)["Location"] == f"{url}summary/"
    assert client_as(observer).get(f"{url}summary/").status_code == 200
    assert client_as(observer).get(url).status_code == 403
    assert client_as(observer).get("/scan/").status_code == 403


def test_the_printed_sheet_holds_every_female(
    client_as: As, keeper: Person, female: Animal, others: list[Animal]
) -> None:
    scanned(keeper, female)
    scan_round = round_of(keeper, [female, *others])
    scan_record(by=keeper, female=female, mm=31.4, round=scan_round)
    scan_skip(by=keeper, round=scan_round, female=others[0], reason=NoReading.HOLD)
    answer = client_as(keeper).post(f"/scan/{scan_round.ref}/sheet/")
    document = Document.objects.get(kind="scan round sheet")
    assert document.ref in answer["Location"]
    words = " ".join(page.extract_text() for page in PdfReader(document_path(document.sha256)).pages)
    for expected in ("PR-0412", "PR-0503", "31.4", "no reading, hold", "A scan is no diagnosis", "Scan round 1"):
        assert expected in words
    assert client_as(keeper).post(f"/scan/{scan_round.ref}/sheet/")["Location"] != ""


def test_the_entry_page_stays_quick(
    client_as: As, owner: Person, keeper: Person, female: Animal, others: list[Animal], rack: Rack
) -> None:
    scanned(keeper, female)
    scan_round = round_of(keeper, [female, others[0]])
    client = client_as(keeper)
    client.get(f"/scan/{scan_round.ref}/")
    with CaptureQueriesContext(connection) as few:
        client.get(f"/scan/{scan_round.ref}/")
    for one in others[1:]:
        scanned(keeper, one)
    scan_round_close(by=keeper, round=scan_round)
    second = scan_round_open(by=keeper, females=[female, *others])
    with CaptureQueriesContext(connection) as many:
        client.get(f"/scan/{second.ref}/")
    assert len(many) <= len(few) + 1


# --- visits ---------------------------------------------------------------------------------------------------------


def test_where_each_male_is(
    client_as: As, keeper: Person, observer: Person, female: Animal, others: list[Animal], male: Animal
) -> None:
    client = client_as(keeper)
    assert "No male is with a female" in text(client.get("/visits/"))
    bad = client.post("/visits/", {"act": "begin", "female": "PR-0412", "male": "PR-0501"})
    assert bad.status_code == 400
    assert "not as a male" in text(bad)
    assert 'value="PR-0501"' in text(bad)
    client.post("/visits/", {"act": "begin", "female": "PR-0412", "male": "PR-0118"})
    visit = Visit.objects.get()
    page = text(client.get("/visits/"))
    assert "1 male with a female now" in page
    client.post("/visits/", {"act": "lock", "visit": visit.ref})
    client.post("/visits/", {"act": "end", "visit": visit.ref})
    visit.refresh_from_db()
    assert visit.ended_at is not None
    assert visit.locks.count() == 1
    assert client_as(observer).get("/visits/").status_code == 200
    assert client_as(observer).post("/visits/", {"act": "end", "visit": visit.ref}).status_code == 403
    assert Season.objects.count() == 1
