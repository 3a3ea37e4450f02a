"""Every page of the house in Chromium, desk and phone, light and dark; a new page fails here until it is listed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import pytest
from django.urls import URLPattern, URLResolver, get_resolver

from apps.accounts.choices import Role
from apps.accounts.models import Person
from apps.accounts.services import pin_set
from apps.accounts.views import TABLET_COOKIE
from tests.browser.conftest import THEMES, Visitor
from tests.browser.world import World
from tests.conftest import person_of

pytestmark = pytest.mark.browser
VisitorOf = Callable[[Person | None, str], Visitor]
SIZES = ("desk", "phone")


def pages(w: World) -> dict[str, Sequence[str]]:
    """Every page by the name of its address."""
    here, her, him = f"/animals/{w.growing.ref}", f"/season/{w.growing.ref}/", w.young.ref
    species = f"/species/{w.growing.species.ref}/"
    return {
        "accounts:me": ["/me/"],
        "accounts:people": ["/people/"],
        "accounts:person": [f"/people/{w.weight.by.ref}/"],
        "accounts:settings": ["/settings/"],
        "jobs:alarms": ["/alarms/"],
        "jobs:jobs": ["/jobs/", "/jobs/?state=failed"],
        "documents:printers": ["/labels/printers/"],
        "documents:printer": [f"/labels/printers/{w.printer.ref}/"],
        "places:setup": ["/places/setup/"],
        "places:add": [f"/places/setup/{what}/" for what in ("site", "room", "rack")],
        "places:incubator": [f"/places/incubators/{w.incubator.ref}/"],
        "places:probe": [f"/places/probes/{w.probe.ref}/"],
        "animals:list": ["/animals/"],
        "animals:new": ["/animals/new/"],
        "animals:edit": [f"{here}/edit/"],
        "animals:move": [f"{here}/move/"],
        "animals:traits": [f"{here}/traits/"],
        "animals:status": [f"{here}/status/"],
        "animals:sire": [f"/animals/{him}/sire/"],
        "animals:lineage": [f"{here}/lineage/", f"/animals/{him}/lineage/?up=2"],
        "animals:doubts": ["/lineage/doubts/"],
        "animals:mates": [f"{here}/mates/", f"/animals/{him}/mates/?order=spread"],
        "animals:collection": ["/genetics/", "/genetics/?who=all"],
        "animals:holds": [f"{here}/holds/"],
        "animals:brood-sires": [f"/broods/{w.brood.ref}/sires/"],
        "animals:species-list": ["/species/"],
        "animals:species": [species],
        "animals:cross": ["/cross/", "/cross/?species=python-regius&dam=Pastel+het+Clown&sire=Spider+66%25+het+Clown"],
        "animals:trait-values": [f"{species}values/"],
        "animals:welfare": [f"{species}welfare/"],
        "animals:catalogue": [f"{species}catalogue/"],
        "animals:number": [f"{species}lines.stop_mm/"],
        "animals:places": ["/places/"],
        "animals:place-hold": ["/places/holds/new/"],
        "animals:rack": [f"/places/racks/{w.rack.ref}/"],
        "animals:labels": [
            "/labels/",
            f"/labels/?what=tubs&rack={w.rack.ref}",
            f"/labels/?what=animals&rack={w.rack.ref}",
            f"/labels/?animals={w.growing.ref}",
        ],
        "animals:tub": [f"/p/{w.rack.tubs.order_by('walk_order')[0].ref}/?stay=1"],
        "care:feeding": ["/care/"],
        "care:plan": ["/care/plan/"],
        "care:plan-rack": [f"/care/plan/racks/{w.rack.ref}/"],
        "care:thaw": ["/care/thaw/"],
        "care:growth": [f"{here}/growth/", f"/animals/{him}/growth/"],
        "care:notes": ["/care/notes/"],
        "care:health": ["/care/health/"],
        "animals:intake": ["/animals/intake/"],
        "care:animal-health": [f"{here}/health/"],
        "care:rack-offer": [f"/care/racks/{w.rack.ref}/offer/"],
        "care:rack-check": [f"/care/racks/{w.rack.ref}/check/", f"/care/racks/{w.rack.ref}/check/?one=1"],
        "care:backlog": ["/care/backlog/", f"/care/backlog/?room={w.rack.room.ref}"],
        "care:rounds": ["/rounds/"],
        "care:round": [
            f"/rounds/{w.walked.ref}/",
            f"/rounds/{w.handed_over.ref}/",
        ],
        "care:round-close": [f"/rounds/{w.walked.ref}/close/"],
        "care:round-tub": [
            f"/rounds/{w.walked.ref}/tubs/{tub.ref}/" for tub in w.rack.tubs.order_by("walk_order")[2:6:3]
        ],
        "care:sheet-entry": [f"/rounds/{w.walked.ref}/racks/{w.rack.ref}/entry/"],
        "care:tasks": ["/tasks/"],
        "care:task-new": ["/tasks/new/"],
        "care:task": [f"/tasks/{w.task_time.task.ref}/"],
        "care:task-skip": [f"/tasks/times/{w.task_time.ref}/skip/"],
        "care:animal": [f"{here}/care/"],
        "care:strike": [f"{here}/care/strike/?entry=weight-{w.weight.pk}"],
        "breeding:board": ["/season/", "/season/?year=2025"],
        "breeding:female": [her, f"/season/{w.laid.ref}/"],
        "breeding:rounds": ["/scan/"],
        "breeding:round": [f"/scan/{w.open_round.ref}/"],
        "breeding:round-plan": ["/scan/plan/", "/scan/plan/?hours=2&at=2027-04-06T17:00"],
        "breeding:round-paper": [f"/scan/{w.open_round.ref}/paper/"],
        "breeding:number-effects": [f"/season/numbers/{w.growing.species.ref}/lines.stop_mm/?value=30"],
        "breeding:round-summary": [f"/scan/{w.closed_round.ref}/summary/"],
        "breeding:visits": ["/visits/"],
        "breeding:rota": ["/rota/"],
        "incubation:room": ["/incubation/"],
        "incubation:lay": ["/incubation/lay/", f"/incubation/lay/?female={w.growing.code}"],
        "incubation:incubators": ["/incubation/incubators/"],
        "incubation:incubator": [f"/incubation/incubators/{w.incubator.ref}/"],
        "incubation:brood": [f"/incubation/broods/{w.brood.ref}/"],
        "hatchlings:rooms": ["/hatch/"],
        "hatchlings:litter": ["/hatch/litter/"],
        "hatchlings:hatch": [f"/hatch/{w.brood.ref}/"],
        "hatchlings:nursery": ["/nursery/"],
        "inventory:stock": ["/stock/"],
        "inventory:offer": [f"/stock/offers/{w.offer.ref}/"],
        "inventory:buyers": ["/stock/buyers/"],
        "inventory:buyer": [f"/stock/buyers/{w.buyer.ref}/"],
        "inventory:orders": ["/stock/orders/"],
        "inventory:order-new": ["/stock/orders/new/"],
        "inventory:order": [f"/stock/orders/{w.order.ref}/"],
        "shipping:board": ["/shipping/"],
        "shipping:plan": ["/shipping/plan/", f"/shipping/plan/?order={w.order.ref}"],
        "shipping:past": ["/shipping/past/"],
        "shipping:parcel": [f"/shipping/{w.parcel.ref}/"],
        "dashboards:today": ["/"],
        "dashboards:animal": [f"{here}/", f"/animals/{him}/"],
        "dashboards:put-right": [f"{here}/put-right/"],
        "dashboards:put-right-swap": [
            f"{here}/put-right/swap/",
            f"{here}/put-right/swap/?second={w.laid.code}&since=2026-08-01T10:00",
        ],
        "dashboards:put-right-facts": [f"{here}/put-right/entries/"],
        "dashboards:put-right-missing": [f"{here}/put-right/place/"],
        "dashboards:put-right-merge": [f"{here}/put-right/twice/", f"{here}/put-right/twice/?second={w.laid.code}"],
        "dashboards:put-right-sire-wrong": [f"/animals/{him}/put-right/sire/"],
        "dashboards:corrections": ["/corrections/"],
        "dashboards:correction": [f"/corrections/{w.correction_ref}/"],
        "dashboards:imports": ["/import/"],
        "dashboards:waiting": ["/care/waiting/"],
        "dashboards:kept": ["/care/kept/"],
        "dashboards:search": ["/search/", "/search/?q=Pastel&list=1", "/search/?q=nothing-of-that-name"],
        "dashboards:gallery": ["/gallery/"],
        "dashboards:api-reference": ["/api-reference/"],
        "dashboards:api-group": ["/api-reference/animals/", "/api-reference/what-if/"],
    }


# Addresses that are no page of their own, and why.
NO_PAGE = {
    "accounts:sign-in": "nobody is signed in: test_before_signing_in",
    "accounts:pin": "nobody is signed in: test_before_signing_in",
    "documents:document": "a file; test_path reads the papers",
    "animals:animal-landing": "leads on to the animal",
    "breeding:scan-one": "leads on to the female's page",
    "breeding:board-row": "a part of the board, swapped in place",
    "breeding:round-preview": "a part of the round, swapped in place",
    "dashboards:import": "needs a file: test_animals and test_path",
    "dashboards:import-example": "a file",
    "dashboards:import-refused": "a file",
    "dashboards:export-animals": "a file",
    "dashboards:export-racks": "a file",
    "dashboards:worker": "the service worker: test_offline",
    "dashboards:healthz": "words for machines",
    "dashboards:readyz": "words for machines",
}


def addresses(patterns: Sequence[URLPattern | URLResolver], space: str = "") -> Iterator[tuple[str, str]]:
    """Every named address outside the API and the administration, with an example path."""
    for one in patterns:
        if isinstance(one, URLResolver):
            if one.namespace != "admin":
                yield from addresses(one.url_patterns, one.namespace or space)
        elif space:
            path = "/" + str(one.pattern)
            for old in ("<str:ref>", "<slug:ref>", "<str:key>", "<str:what>", "<str:kind>"):
                path = path.replace("<int:pk>", "1")
                path = path.replace(old, "none")
            yield f"{space}:{one.name}", path


@pytest.mark.parametrize("size", SIZES)
def test_every_page(size: str, world: World, owner: Person, visitor_of: VisitorOf) -> None:
    """No word on the console, no wider than the screen, every field labelled, axe clean: the desk in both themes, the
    phone (the same colours) in the dark one."""
    themes = THEMES if size == "desk" else ("dark",)
    visitor = visitor_of(owner, size)
    wrong = []
    for paths in pages(world).values():
        for path in paths:
            try:
                visitor.look(path, themes=themes)
            except AssertionError as error:
                wrong.append(str(error).split("\nassert")[0])
    assert wrong == [], "\n\n".join(wrong)


def test_no_page_is_forgotten(world: World, owner: Person, client_as: Callable[[Person], object]) -> None:
    """What is neither listed above nor excused answers to POST only."""
    client = client_as(owner)
    listed = set(pages(world)) | set(NO_PAGE)
    found = dict(addresses(get_resolver().url_patterns))
    assert sorted(listed - set(found)) == [], "these are gone: take them off the lists"
    loose = {name: client.get(path).status_code for name, path in found.items() if name not in listed}  # type: ignore[attr-defined]
    assert {name: status for name, status in loose.items() if status != 405} == {}


@pytest.mark.parametrize("size", SIZES)
def test_before_signing_in(size: str, world: World, visitor_of: VisitorOf) -> None:
    """The page of nobody, and the shared tablet's."""
    visitor = visitor_of(None, size)
    visitor.look("/sign-in/")
    here = visitor.page.url.removesuffix("sign-in/")
    visitor.page.context.add_cookies([{"name": TABLET_COOKIE, "value": world.tablet_key, "url": here}])
    visitor.look("/pin/")
    assert visitor.page.get_by_text("Nobody has a PIN yet.").is_visible()
    pin_set(by=world.weight.by, pin="4711")
    visitor.look("/pin/")
    assert visitor.page.get_by_label("PIN").is_visible()


@pytest.mark.parametrize("size", SIZES)
def test_pages_of_what_went_wrong(size: str, world: World, keeper: Person, visitor_of: VisitorOf) -> None:
    """Not here, not allowed, and a form that comes back."""
    visitor = visitor_of(keeper, size)
    visitor.look("/nothing/here/", 404)
    visitor.look("/settings/", 403)
    page = visitor.page
    page.goto(f"/animals/{world.growing.ref}/care/")
    page.get_by_label("Grams").fill("1,835")
    page.get_by_role("button", name="Save the weight").click()
    page.get_by_text("can be read two ways").wait_for()
    visitor.hold("a refused weight")


def test_every_role_opens_its_tabs(world: World, visitor_of: VisitorOf) -> None:
    """Whoever is shown a tab may open it."""
    for role in Role:
        visitor = visitor_of(Person.objects.filter(held_roles__role=role).first() or person_of(role), "desk")
        visitor.page.goto("/")
        links = visitor.page.locator("nav[aria-label='Index'] a").evaluate_all("all => all.map((a) => a.pathname)")
        assert "/" in links, role
        for path in links:
            answer = visitor.page.goto(path)
            assert answer is not None
            assert answer.status == 200, f"{role} is shown {path} and gets {answer.status}"
            assert visitor.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), (role, path)
        assert visitor.said == [], role
        visitor.page.context.close()
