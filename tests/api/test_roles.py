"""Every address and every act of the API against every role: what views declare, what a hand-written table says, and
what really answers. A new address without a declared right fails here."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver
from rest_framework.test import APIClient

from apps.accounts.choices import Permission, Role
from apps.accounts.models import Facility, Person
from apps.accounts.policies import permission_for
from apps.accounts.selectors import facility_forget
from apps.core import clock
from tests.browser.world import World, world_of
from tests.conftest import person_of

READS, WRITES = "GET", "POST"
EVERYONE = frozenset(Role)
OWNER = frozenset({Role.OWNER})
LEADS = frozenset({Role.OWNER, Role.BREEDING_LEAD})
SELLERS = frozenset({Role.OWNER, Role.SALES})
MONEY = SELLERS | LEADS
PACKERS = frozenset({Role.OWNER, Role.PACKER})
INCUBATES = frozenset({Role.OWNER, Role.INCUBATION})
SCANS = LEADS | {Role.KEEPER}
BROODS = LEADS | INCUBATES

# Whoever has not signed in may open these and nothing else: to sign in, to sign out, and what machines ask.
PUBLIC = {
    "accounts:sign-in",
    "accounts:sign-out",
    "accounts:pin",
    "administration-sign-in",  # only leads to the sign-in page
    "dashboards:worker",  # holds nothing of anybody
    "dashboards:healthz",
    "dashboards:readyz",
}
# No list of rows: an answer to a question that stands in the address; without one it is refused.
ASKS = {"/api/v1/crosses/"}
# Open by declaration, and asking for a narrower right inside: by what is set up, by whose entry it is.
NARROWER_INSIDE = {"places:add", "care:strike", "dashboards:correction-undo"}

# Written by hand from the table of roles, not from the code: the first line that matches an address holds.
SENSITIVE: tuple[tuple[str, frozenset[Role], frozenset[Role]], ...] = (
    (r"^people/", OWNER, OWNER),
    (r"^settings/", OWNER, OWNER),
    (r"^jobs/", LEADS, LEADS),
    (r"^import/", LEADS, LEADS),
    (r"^export/", OWNER, OWNER),
    (
        r"^(rounds/(open/|.+/(claim|reopen)/)|tasks/usual/|tasks/times/.+/(done|undo)/|care/backlog/.+/undo/)",
        SCANS,
        SCANS,
    ),
    (r"^rounds/.+/(close|tubs|racks)/", EVERYONE, SCANS),
    (r"^(labels/printers/|api/v1/label-printers/)(?!.*test)", EVERYONE, SCANS),
    (r"^(tasks/.+|care/backlog/)", EVERYONE, SCANS),
    (r"^today/seen/", EVERYONE, EVERYONE),
    (r"^api/v1/(care-rounds|tasks|task-times|backlogs|care-skips)/(?!.*strike)", EVERYONE, SCANS),
    (r"^stock/orders/new/", SELLERS, SELLERS),
    (r"^stock/(offers|reservations)/[^/]+/.+", SELLERS, SELLERS),
    (r"^stock/(offers/[^/]+/|orders/|orders/[^/]+/)$", MONEY, MONEY),
    (r"^stock/", MONEY, SELLERS),
    (r"^shipping/plan/", PACKERS, PACKERS),
    (r"^shipping/[^/]+/release/", LEADS, LEADS),
    (r"^shipping/[^/]+/.+", PACKERS, PACKERS),
    (r"^incubation/.*(box|check|egg|close|box-out|pip|slug|fail|lay)/$", BROODS, BROODS),
    (r"^species/[^/]+/welfare/", EVERYONE, OWNER),
    (r"^species/[^/]+/catalogue/", EVERYONE, LEADS),
    (r"^catalogue-edits/", LEADS, LEADS),
    (r"^api/v1/catalogue-edits/", EVERYONE, LEADS),
    (r"^species/[^/]+/values/", MONEY, LEADS),
    (r"^trait-values/", LEADS, LEADS),
    (r"^api/v1/trait-values/", MONEY, LEADS),
    (r"^api/v1/crosses/", EVERYONE, EVERYONE),
    (r"^welfare-lifts/", LEADS, LEADS),
    (r"^api/v1/welfare-lifts/.*withdraw/", EVERYONE, LEADS),
    (r"^api/v1/welfare-lifts/", EVERYONE, OWNER),
    (r"^species/[^/]+/.+", EVERYONE, LEADS),
    (r"^animals/<str:ref>/(edit|traits|status|sire|holds)/", EVERYONE, LEADS),
    (r"^animals/<str:ref>/move/", EVERYONE, SCANS),
    (r"^animals/<str:ref>/put-right/(swap|place)/", SCANS, SCANS),
    (r"^animals/<str:ref>/put-right/(twice|sire)/", LEADS, LEADS),
    (r"^api/v1/corrections/(swap|not-in-tub|found)/", SCANS, SCANS),
    (r"^api/v1/corrections/(merge|sire)/", LEADS, LEADS),
    (r"^api/v1/buyers/.*erase/", OWNER, OWNER),
    (r"^api/v1/(buyers|offers|reservations|orders)/", MONEY, SELLERS),
    (r"^api/v1/parcels/.*permit/", OWNER, OWNER),
    (r"^api/v1/parcels/.*release/", LEADS, LEADS),
    (r"^api/v1/parcels/", EVERYONE, PACKERS),
    (r"^api/v1/(hubs|weather-series|sites|rooms|racks|health-groups)/", EVERYONE, OWNER),
    (r"^api/v1/(incubators|probes)/", EVERYONE, INCUBATES),
    (r"^api/v1/(treatments|quarantines|purchases)/", EVERYONE, LEADS),
    (r"^animals/intake/", EVERYONE, LEADS),
    (r"^purchases/", LEADS, LEADS),
    (r"^care/health/", EVERYONE, LEADS),
    (r"^api/v1/health-tests/.*result/", EVERYONE, LEADS),
    (r"^api/v1/job-runs/", LEADS, LEADS),
    (r"^api/v1/(clutches|boxes|eggs)/", EVERYONE, BROODS),
    (r"^api/v1/animals/.*move/", EVERYONE, SCANS),
    (r"^api/v1/(animals|species|brood-sires)/", EVERYONE, LEADS),
    (r"^api/v1/scan-rounds/", EVERYONE, SCANS),
    (r"^api/v1/young/.*settle-sire/", EVERYONE, LEADS),
    (r"^api/v1/young/(?!.*raising)", EVERYONE, BROODS),
)


@dataclass(frozen=True)
class Route:
    """One method of one address."""

    address: str  # as in the address list, with its arguments
    name: str
    method: str
    right: Permission | None
    act: str = ""

    @property
    def is_api(self) -> bool:
        """Whether a program asks here."""
        return self.address.startswith("api/")

    @property
    def path(self) -> str:
        """An address that matches, of a thing that is not there."""
        path = re.sub(r"\(\?P<\w+>\[0-9\].*?\)(?=/)", "999999", self.address)
        path = re.sub(r"\(\?P<\w+>.*?\)(?=/)", "zzzzzzzzzz", path)
        path = re.sub(r"<int:\w+>", "999999", path)
        return "/" + re.sub(r"<\w+:\w+>", "zzzzzzzzzz", path).replace("$", "").replace("\\", "")

    def __str__(self) -> str:
        return f"{self.method} {self.address} ({self.act or self.name})"


def routes(patterns: Sequence[Any] | None = None, under: str = "", space: str = "") -> Iterator[Route]:
    """Everything that answers, outside Django's own administration."""
    for one in get_resolver().url_patterns if patterns is None else patterns:
        address = under + str(one.pattern).removeprefix("^").replace("\\Z", "")
        if isinstance(one, URLResolver):
            if one.namespace != "admin":
                yield from routes(one.url_patterns, address, one.namespace or space)
            continue
        if not isinstance(one, URLPattern):
            continue
        shown: Any = getattr(one.callback, "cls", None) or getattr(one.callback, "view_class", one.callback)
        name = f"{space}:{one.name}" if space else str(one.name)
        if not address.startswith("api/"):
            right = getattr(shown, "permission", None)
            yield Route(address, name, READS, right)
            yield Route(address, name, WRITES, getattr(shown, "write_permission", right))
            continue
        actions: dict[str, str] = getattr(one.callback, "actions", None) or {
            method: "" for method in shown.http_method_names if hasattr(shown, method) and method != "options"
        }
        for method, act in actions.items():
            if method == "head":
                continue
            view = shown()
            view.action = act
            yield Route(address, name, method.upper(), permission_for(view, method.upper()), act)


ROUTES = list(routes())


def roles_with(right: Permission | None) -> frozenset[Role]:
    """Who holds it."""
    return frozenset(role for role in Role if right in role.permissions)


def expected(route: Route) -> frozenset[Role] | None:
    """What the hand-written table says; None where it is silent."""
    for pattern, reads, writes in SENSITIVE:
        if re.search(pattern, route.address):
            return reads if route.method == READS else writes
    return None


def test_the_walk_finds_what_there_is() -> None:
    """Pages of every floor and acts of every noun: an empty walk would pass everything."""
    pages = {route.name for route in ROUTES if not route.is_api}
    acts = {(route.method, route.address) for route in ROUTES if route.is_api}
    assert {name.split(":")[0] for name in pages} >= {
        "accounts",
        "documents",
        "jobs",
        "places",
        "animals",
        "care",
        "breeding",
        "incubation",
        "hatchlings",
        "inventory",
        "shipping",
        "dashboards",
    }
    assert len(pages) > 100
    assert len(acts) > 190
    assert not [route for route in ROUTES if "?P" in route.path or "<" in route.path]


def test_every_address_declares_a_right() -> None:
    """Pages and acts alike; what is public stands on the short list, and nothing on it is gone."""
    silent = sorted(str(route) for route in ROUTES if route.right is None and route.name not in PUBLIC)
    assert silent == []
    assert {route.name for route in ROUTES} >= PUBLIC
    assert [route for route in ROUTES if route.name in PUBLIC and route.right is not None] == []


def test_declared_rights_are_those_of_the_table() -> None:
    """Buyers, money, accounts, settings, parcels: who may was written down by hand."""
    wrong = [
        f"{route}: {sorted(roles_with(route.right))}, not {sorted(held)}"
        for route in ROUTES
        if route.name not in PUBLIC and (held := expected(route)) is not None and roles_with(route.right) != held
    ]
    assert wrong == []
    unused = [p for p, _, _ in SENSITIVE if not any(re.search(p, route.address) for route in ROUTES)]
    assert unused == [], "the table names what is gone"


def test_nobody_but_sellers_packers_and_leads_meets_a_buyer() -> None:
    """Keeper, incubation, packer and observer see no money; the observer writes nothing but an acknowledgement."""
    for role in (Role.KEEPER, Role.INCUBATION, Role.PACKER, Role.OBSERVER):
        assert not {Permission.MONEY_READ, Permission.SALES_EDIT, Permission.REFUND} & role.permissions, role
    assert Role.OBSERVER.permissions == {Permission.READ, Permission.ALARM_ACKNOWLEDGE}
    assert Role.OWNER.permissions == frozenset(Permission)


@pytest.mark.django_db
def test_whoever_has_not_signed_in_is_refused() -> None:
    """Pages lead to signing in, the API answers 401; only the public list opens."""
    browser, program = Client(raise_request_exception=False), APIClient()
    wrong = []
    for route in ROUTES:
        if route.is_api:
            answer: Any = program.generic(route.method, route.path, "{}", content_type="application/json")
            is_right = answer.status_code == 401
        else:
            answer = browser.get(route.path) if route.method == READS else browser.post(route.path)
            refused = answer.status_code == 302 and answer["Location"].startswith("/sign-in/")
            is_right = answer.status_code < 500 if route.name in PUBLIC else refused
        if not is_right:
            wrong.append(f"{route}: {answer.status_code}")
    assert wrong == []


@pytest.mark.django_db
def test_the_administration_is_for_staff_only(here: object) -> None:
    """No role opens it; whoever is not staff is led to its own sign-in."""
    for role in Role:
        client = Client()
        client.force_login(person_of(role))
        for path in ("", "accounts/person/", "accounts/facility/", "accounts/auditrow/"):
            answer = client.get(f"/administration/{path}")
            assert answer.status_code in {302, 404}, (role, path)


@pytest.fixture
def world(owner: Person, system: Person, knowledge: None) -> Iterator[World]:
    """Something of everything, and the moment it stands at."""
    Facility.objects.filter(pk=1).update(city="Millbrook Falls", state="KY", postcode="40500", county="Fenwick")
    facility_forget()
    made = world_of(owner, system)
    with clock.at(made.moment):
        yield made


def person_holding(role: Role) -> Person:
    """The one of the fixtures, or a new one."""
    return Person.objects.filter(held_roles__role=role).first() or person_of(role)


def judged(route: Route, role: Role, status: int) -> str | None:
    """What is wrong with an answer, or None."""
    allowed = roles_with(route.right)
    if status >= 500:
        return f"{role}: {route}: {status}"
    if status == 405:
        return None
    if (status == 403) != (role not in allowed):
        return f"{role}: {route}: {status}"
    return None


@pytest.mark.parametrize("role", Role)
@pytest.mark.django_db
def test_every_address_answers_by_right(here: object, role: Role) -> None:
    """A thing that is not there: refused before it is looked for, or not found; never broken."""
    person = person_holding(role)
    browser, program = Client(raise_request_exception=False), APIClient(raise_request_exception=False)
    browser.force_login(person)
    program.force_authenticate(person)
    wrong = []
    for route in ROUTES:
        if route.name in PUBLIC:
            continue
        if route.is_api:
            answer: Any = program.generic(route.method, route.path, "{}", content_type="application/json")
        else:
            answer = browser.get(route.path) if route.method == READS else browser.post(route.path)
        wrong.append(judged(route, role, answer.status_code))
    assert [one for one in wrong if one] == []


@pytest.mark.usefixtures("world")
def test_every_list_and_row_of_the_api_by_role(world: World) -> None:
    """Real rows: each list, and the newest row of each, for every role."""
    found: list[tuple[Route, str]] = []
    owner = APIClient()
    owner.force_authenticate(person_holding(Role.OWNER))
    for route in ROUTES:
        if route.method != READS or not route.is_api or "(" in route.path or route.act != "list":
            continue
        if route.path in ASKS:
            continue
        rows = owner.get(route.path).json()
        found.append((route, route.path))
        for row in (rows.get("results", []) if isinstance(rows, dict) else rows)[:1]:
            key = row.get("ref") or row.get("id") or row.get("name")
            found.append((route, f"{route.path}{key}/"))
    assert len(found) > 50
    wrong = []
    for role in Role:
        client = APIClient(raise_request_exception=False)
        client.force_authenticate(person_holding(role))
        for route, path in found:
            status = client.get(path).status_code
            if status != (200 if role in roles_with(route.right) else 403):
                wrong.append(f"{role}: {path}: {status}")
    assert wrong == []


def test_every_page_by_role(world: World, client_as: Callable[[Person], Client]) -> None:
    """Real pages of real things, for every role: shown, led on, or refused in words."""
    from tests.browser.test_pages import pages

    rights = {route.name: route for route in ROUTES if route.method == READS and not route.is_api}
    wrong = []
    for role in Role:
        client = client_as(person_holding(role))
        client.raise_request_exception = False
        for name, paths in pages(world).items():
            for path in paths:
                answer = client.get(path)
                status = answer.status_code
                if name in NARROWER_INSIDE:
                    is_right = status in {200, 403}
                else:
                    is_right = status in ({200, 302} if role in roles_with(rights[name].right) else {403})
                if not is_right:
                    wrong.append(f"{role}: {path}: {status}")
    assert wrong == []


@pytest.mark.parametrize("role", [Role.KEEPER, Role.INCUBATION, Role.OBSERVER])
def test_a_buyer_s_name_stands_on_no_page_of_those_who_may_not_see_it(
    world: World, client_as: Callable[[Person], Client], role: Role
) -> None:
    """Wherever they may look: pages, the parcel by program, the search."""
    from tests.browser.test_pages import pages

    person = person_holding(role)
    client, program = client_as(person), APIClient()
    program.force_authenticate(person)
    name, phone = world.buyer.name, world.buyer.phone
    assert name
    told = [path for paths in pages(world).values() for path in paths]
    told = [*told, f"/search/?q={name.split()[0]}&list=1"]
    leaks = []
    for path in told:
        words = client.get(path).content.decode().replace(f"q={name.split()[0]}", "")
        if name in words or phone in words:
            leaks.append(path)
    parcel = program.get(f"/api/v1/parcels/{world.parcel.ref}/").content.decode()
    assert name not in parcel
    assert phone not in parcel
    assert leaks == []
