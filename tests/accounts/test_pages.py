"""Pages of sign-in, people, settings and the shared tablet: by hand, role by role, and what must never open."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.conf import settings
from django.test import Client

from apps.accounts.choices import DeviceKind, Role
from apps.accounts.models import AuditRow, Device, Facility, Person
from apps.accounts.selectors import facility
from apps.accounts.services import device_register, person_close, pin_set
from apps.accounts.services.people import SIGN_IN_LOCK, SIGN_IN_REFUSED, SIGN_IN_TRIES
from apps.accounts.views import SEEN, TABLET_COOKIE
from apps.core import clock

ClientAs = Callable[[Person], Client]
PASSWORD = "a password of tests"


def sign_in(client: Client, person: Person, password: str = PASSWORD, to: str = "/sign-in/") -> tuple[int, str]:
    """Post the form; the status and where it leads."""
    answer = client.post(to, {"username": person.email, "password": password})
    return answer.status_code, answer.headers.get("Location", "")


@pytest.fixture
def tablet(owner: Person) -> str:
    """The key of a registered shared tablet."""
    return device_register(by=owner, name="Barn tablet", kind=DeviceKind.SHARED_TABLET)[1]


@pytest.fixture
def barn(keeper: Person, tablet: str, client_as: ClientAs) -> Client:
    """The barn tablet in the keeper's hand, long untouched."""
    client = client_as(keeper)
    client.cookies[TABLET_COOKIE] = tablet
    assert client.get("/me/").status_code == 200
    leave_alone(client)
    return client


def leave_alone(client: Client) -> None:
    """Nobody touches the tablet for longer than the house allows."""
    session = client.session
    idle = timedelta(minutes=Facility.objects.get(pk=1).idle_lock_minutes + 1)
    session[SEEN] = (clock.real_now() - idle).timestamp()
    session.save()


def whose(client: Client) -> int | None:
    """Who is signed in."""
    key = client.session.get("_auth_user_id")
    return int(key) if key else None


def test_while_nobody_can_sign_in_the_page_names_the_command(client: Client, db: None) -> None:
    """An empty facility says how its first owner comes in."""
    assert "owner_add" in client.get("/sign-in/").content.decode()


def test_signing_in_leads_where_one_was_going(client: Client, keeper: Person) -> None:
    assert client.get("/me/").headers["Location"] == "/sign-in/?next=/me/"
    assert sign_in(client, keeper, to="/sign-in/?next=/me/") == (302, "/me/")
    assert whose(client) == keeper.pk


def test_signing_in_leads_nowhere_else(client: Client, keeper: Person) -> None:
    """An address of another host is not followed."""
    assert sign_in(client, keeper, to="/sign-in/?next=https://example.org/") == (302, "/")


def test_a_wrong_password_says_so_and_tells_nothing_more(client: Client, keeper: Person) -> None:
    """The same words whether the person exists or not."""
    said = []
    for email in (keeper.email, "nobody@example.com"):
        answer = client.post("/sign-in/", {"username": email, "password": "wrong"})
        assert answer.status_code == 200
        said.append("E-mail and password do not match" in answer.content.decode())
    assert said == [True, True]
    assert whose(client) is None


def test_a_closed_account_does_not_sign_in(client: Client, keeper: Person, owner: Person) -> None:
    person_close(by=owner, person=keeper)
    assert sign_in(client, keeper)[0] == 200
    assert whose(client) is None


def test_an_open_session_ends_when_the_account_is_closed(keeper: Person, owner: Person, client_as: ClientAs) -> None:
    client = client_as(keeper)
    assert client.get("/me/").status_code == 200
    person_close(by=owner, person=keeper)
    assert client.get("/me/").status_code == 302


def test_signing_out_needs_a_post(keeper: Person, client_as: ClientAs) -> None:
    """A link in a mail must not sign anybody out."""
    client = client_as(keeper)
    assert client.get("/sign-out/").status_code == 405
    assert whose(client) == keeper.pk
    assert client.post("/sign-out/").headers["Location"] == "/sign-in/"
    assert whose(client) is None


def test_one_s_own_page_tells_the_rights_in_words(keeper: Person, client_as: ClientAs) -> None:
    body = client_as(keeper).get("/me/").content.decode()
    for permission in Role.KEEPER.permissions:
        assert permission.description.replace("'", "&#x27;") in body
    assert "You have no PIN yet." in body


def test_a_pin_is_set_or_refused_at_its_field(keeper: Person, client_as: ClientAs) -> None:
    client = client_as(keeper)
    answer = client.post("/me/", {"pin": "1111"})
    assert "All digits are the same" in answer.content.decode()
    assert 'aria-invalid="true"' in answer.content.decode()
    assert client.post("/me/", {"pin": "4711"}).status_code == 302
    assert "You have a PIN." in client.get("/me/").content.decode()


@pytest.mark.parametrize("path", ["/people/", "/settings/"])
def test_only_owners_open_people_and_settings(path: str, lead: Person, owner: Person, client_as: ClientAs) -> None:
    assert client_as(lead).get(path).status_code == 403
    assert client_as(owner).get(path).status_code == 200


def test_somebody_new_signs_in_and_a_double_tap_adds_one(owner: Person, client: Client, client_as: ClientAs) -> None:
    form = {
        "name": "Nia Wells",
        "email": "nia@example.com",
        "password": "a first password",
        "roles": ["keeper"],
        "request_key": "k" * 32,
    }
    for _ in range(2):
        assert client_as(owner).post("/people/", form).status_code == 302
    nia = Person.objects.get(email="nia@example.com")
    assert nia.roles == {Role.KEEPER}
    assert AuditRow.objects.filter(act="person.add").count() == 1
    assert sign_in(client, nia, "a first password") == (302, "/")


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"email": "keeper@example.com"}, "is already in use"),
        ({"email": "nia at example"}, "valid email"),
        ({"password": "short"}, "at least 10"),
        ({"name": "   "}, "required"),
    ],
)
def test_a_refused_person_keeps_what_was_typed(
    wrong: dict[str, str], says: str, owner: Person, keeper: Person, client_as: ClientAs
) -> None:
    """The field says what to mend; the password alone is asked for again."""
    form = {"name": "Nia Wells", "email": "nia@example.com", "password": "a first password", "roles": ["packer"]}
    answer = client_as(owner).post("/people/", {**form, **wrong})
    body = answer.content.decode()
    assert says in body
    assert "a first password" not in body
    assert body.count("nia@example.com") == (0 if "email" in wrong else 1)
    assert not Person.objects.filter(email="nia@example.com").exists()


def test_roles_add_up_and_the_last_owner_stays(owner: Person, keeper: Person, client_as: ClientAs) -> None:
    client = client_as(owner)
    assert client.post(f"/people/{keeper.ref}/", {"roles": ["keeper", "packer"]}).status_code == 302
    assert Person.objects.get(pk=keeper.pk).roles == {Role.KEEPER, Role.PACKER}
    body = client.post(f"/people/{owner.ref}/", {"roles": ["keeper"]}).content.decode()
    assert "This is the last owner." in body
    assert Person.objects.get(pk=owner.pk).roles == {Role.OWNER}


def test_an_account_is_closed_from_its_page(owner: Person, keeper: Person, client_as: ClientAs) -> None:
    """And what the person wrote keeps the name: the row stays."""
    assert client_as(owner).post(f"/people/{keeper.ref}/", {"close": "1"}).status_code == 302
    assert not Person.objects.get(pk=keeper.pk).is_active
    assert Person.objects.get(pk=keeper.pk).roles == {Role.KEEPER}


def test_settings_are_saved_and_refused_by_field(owner: Person, client_as: ClientAs) -> None:
    client = client_as(owner)
    page = client.get("/settings/")
    form = page.context["form"]
    values = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    values.pop("fahrenheit_first")  # an empty box is not sent
    answer = client.post("/settings/", {**values, "name": "Ours", "refund_limit_minor": "250"})
    assert answer.status_code == 302, answer.context["form"].errors
    saved = Facility.objects.get(pk=1)
    assert (saved.name, saved.refund_limit_minor) == ("Ours", 250_00)
    assert 'value="250.00"' in client.get("/settings/").content.decode()
    values["name"] = "Ours"
    refused = {"time_zone": "Kentucky", "refund_limit_minor": "a lot", "idle_lock_minutes": "0", "country": "Kentucky"}
    for name, value in refused.items():
        answer = client.post("/settings/", {**values, name: value})
        assert answer.status_code == 200, name
        assert list(answer.context["form"].errors) == [name]
        # what was refused is nobody's setting, not for a moment
        assert getattr(facility(), name) == getattr(saved, name)


def test_a_browser_becomes_a_shared_tablet(owner: Person, client_as: ClientAs) -> None:
    """Its key is in an http-only cookie and nowhere in the database."""
    client = client_as(owner)
    assert client.post("/settings/tablet/", {"name": "Barn tablet"}).status_code == 302
    cookie = client.cookies[TABLET_COOKIE]
    assert cookie["httponly"]
    assert Device.objects.get().key_hash != cookie.value
    assert "This browser is “Barn tablet”" in client.get("/settings/").content.decode()
    assert client.post("/settings/tablet/", {"name": " "}, follow=True).content.decode().count("needs a name") == 1


def test_no_pin_page_without_a_registered_tablet(client: Client, keeper: Person) -> None:
    """A made-up key is no tablet."""
    assert client.get("/pin/").headers["Location"] == "/sign-in/?next=%2F"
    client.cookies[TABLET_COOKIE] = "made up"
    assert client.get("/pin/").headers["Location"] == "/sign-in/?next=%2F"
    pin_set(by=keeper, pin="4711")
    assert client.post("/pin/", {"person": keeper.ref, "pin": "4711"}).headers["Location"] == "/sign-in/?next=%2F"
    assert whose(client) is None


def test_a_tablet_left_alone_asks_for_a_pin_and_gives_the_page_back(barn: Client, keeper: Person, lead: Person) -> None:
    """The whole address comes back, its question included; the next hand is the next name."""
    pin_set(by=lead, pin="2580")
    answer = barn.get("/animals/?q=het+clown&page=2")
    assert answer.headers["Location"].startswith("/pin/?next=")
    page = barn.get(answer.headers["Location"])
    assert page.context["next"] == "/animals/?q=het+clown&page=2"
    assert lead.name in page.content.decode()
    wrong = barn.post("/pin/", {"person": lead.ref, "pin": "0000", "next": "/me/"})
    assert wrong.status_code == 400
    assert "4 tries are left" in wrong.content.decode()
    assert whose(barn) == keeper.pk
    right = barn.post("/pin/", {"person": lead.ref, "pin": "2580", "next": "/me/"})
    assert right.headers["Location"] == "/me/"
    assert whose(barn) == lead.pk
    assert barn.get("/me/").status_code == 200


def test_a_locked_tablet_opens_nothing(barn: Client) -> None:
    """Pages lead to the PIN, the API says 401, and touching it again does not unlock it."""
    assert barn.get("/me/").status_code == 302
    assert barn.post("/me/", {"pin": "4711"}).headers["Location"] == "/pin/"
    assert barn.get("/api/v1/animals/").status_code == 401
    assert barn.get("/me/").headers["Location"].startswith("/pin/")


def test_a_locked_tablet_opens_with_the_password_too(barn: Client, owner: Person) -> None:
    """Nobody has a PIN, or it is forgotten: the page that offers the password must lead to a form that works."""
    assert barn.get("/me/").status_code == 302
    page = barn.get("/pin/")
    assert "Nobody has a PIN yet." in page.content.decode()
    form = barn.get("/sign-in/")
    assert form.status_code == 200
    assert "Password" in form.content.decode()
    assert sign_in(barn, owner) == (302, "/")
    assert whose(barn) == owner.pk
    assert barn.get("/me/").status_code == 200


def test_whoever_is_signed_in_needs_no_form(keeper: Person, client_as: ClientAs) -> None:
    assert client_as(keeper).get("/sign-in/").headers["Location"] == "/"


def test_a_pin_leads_to_no_other_host(barn: Client, lead: Person) -> None:
    pin_set(by=lead, pin="2580")
    answer = barn.post("/pin/", {"person": lead.ref, "pin": "2580", "next": "https://example.org/"})
    assert answer.headers["Location"] == "/"


def test_a_tablet_in_use_does_not_lock(barn: Client, keeper: Person, tablet: str, client_as: ClientAs) -> None:
    """Only time alone locks it; a browser that is no shared tablet never does."""
    busy = client_as(keeper)
    busy.cookies[TABLET_COOKIE] = tablet
    assert [busy.get("/me/").status_code for _ in range(2)] == [200, 200]
    own = client_as(keeper)
    assert own.get("/me/").status_code == 200
    leave_alone(own)
    assert own.get("/me/").status_code == 200


def test_the_theme_is_kept_and_only_the_two(keeper: Person, client_as: ClientAs) -> None:
    client = client_as(keeper)
    for value, stands in (("dark", 'data-theme="dark"'), ("light", 'data-theme="light"')):
        client.cookies["theme"] = value
        assert stands in client.get("/me/").content.decode()
    client.cookies["theme"] = '"><script>'
    assert '<html lang="en">' in client.get("/me/").content.decode()


def test_no_page_allows_script_or_style_in_the_page(client: Client, here: Facility) -> None:
    """The policy that the browser is given, and that the templates keep to it."""
    answer = client.get("/sign-in/")
    policy = answer.headers["Content-Security-Policy"]
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy
    body = answer.content.decode()
    assert "<style" not in body
    assert " style=" not in body
    assert "onclick" not in body
    assert settings.SESSION_COOKIE_HTTPONLY


def test_ten_wrong_passwords_close_the_door_for_a_while(client: Client, keeper: Person, owner: Person) -> None:
    """Then the right one does not open it either, the words are the same, and other people are not held up."""
    for _ in range(SIGN_IN_TRIES):
        assert sign_in(client, keeper, "a wrong password")[0] == 200
    answer = client.post("/sign-in/", {"username": keeper.email, "password": PASSWORD})
    assert answer.status_code == 200
    assert "then sign-in opens again after 15 minutes" in answer.content.decode()
    assert sign_in(Client(), owner) == (302, "/")
    rows = AuditRow.objects.filter(act=SIGN_IN_REFUSED)
    assert rows.count() == SIGN_IN_TRIES
    sign_in(client, keeper, "a wrong password")
    assert rows.count() == SIGN_IN_TRIES, "no flood of rows while it waits"
    rows.update(recorded_at=clock.real_now() - SIGN_IN_LOCK)
    assert sign_in(client, keeper) == (302, "/")


def test_nine_wrong_passwords_do_not(client: Client, keeper: Person) -> None:
    for _ in range(SIGN_IN_TRIES - 1):
        sign_in(client, keeper, "a wrong password")
    assert sign_in(client, keeper) == (302, "/")


def test_capitals_in_the_address_do_not_matter(client: Client, keeper: Person) -> None:
    answer = client.post("/sign-in/", {"username": keeper.email.upper(), "password": PASSWORD})
    assert answer.status_code == 302


def test_the_administration_has_no_door_of_its_own(client: Client, keeper: Person, client_as: ClientAs) -> None:
    """Else wrong passwords would not be counted there; who is no administrator is told so."""
    answer = client.get("/administration/login/?next=/administration/")
    assert answer.headers["Location"] == "/sign-in/?next=%2Fadministration%2F"
    assert client.post("/administration/login/", {"username": keeper.email, "password": PASSWORD}).status_code == 302
    assert whose(client) is None
    assert client_as(keeper).get("/administration/", follow=True).status_code == 403
    staff = Person.objects.create_superuser("admin@example.com", password=PASSWORD)
    assert client_as(staff).get("/administration/", follow=True).status_code == 200


def test_one_s_own_password_is_changed(keeper: Person, client_as: ClientAs) -> None:
    """The old one must be right; this browser stays signed in, every other is signed out."""
    here, there = client_as(keeper), client_as(keeper)
    form = {"set_password": "1", "old": "a wrong password", "new": "another long one"}
    assert "This is not your password now." in here.post("/me/", form).content.decode()
    assert "at least 10" in here.post("/me/", {**form, "old": PASSWORD, "new": "short"}).content.decode()
    assert here.post("/me/", {**form, "old": PASSWORD}).headers["Location"] == "/me/"
    assert here.get("/me/").status_code == 200
    assert there.get("/me/").status_code == 302
    assert sign_in(Client(), keeper)[0] == 200
    assert sign_in(Client(), keeper, "another long one") == (302, "/")


def test_guessing_at_an_open_screen_is_counted_too(keeper: Person, client_as: ClientAs) -> None:
    client = client_as(keeper)
    for _ in range(SIGN_IN_TRIES):
        client.post("/me/", {"set_password": "1", "old": "a wrong password", "new": "another long one"})
    answer = client.post("/me/", {"set_password": "1", "old": PASSWORD, "new": "another long one"})
    assert "Too many wrong passwords" in answer.content.decode()


def test_an_owner_gives_a_new_password(owner: Person, keeper: Person, lead: Person, client_as: ClientAs) -> None:
    """Roles stay as they are, the person's open sessions end; nobody but an owner may."""
    open_session, path = client_as(keeper), f"/people/{keeper.ref}/"
    form = {"set_password": "1", "new": "given by the owner"}
    assert client_as(lead).post(path, form).status_code == 403
    assert "at least 10" in client_as(owner).post(path, {**form, "new": "short"}).content.decode()
    assert client_as(owner).post(path, form).status_code == 302
    assert Person.objects.get(pk=keeper.pk).roles == {Role.KEEPER}
    assert open_session.get("/me/").status_code == 302
    assert sign_in(Client(), keeper, "given by the owner") == (302, "/")
