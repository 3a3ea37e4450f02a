"""Pages of sign-in, the PIN switch, people and settings; the idle lock of shared tablets."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

from django.contrib import messages
from django.contrib.auth import login, logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme, urlencode
from django.views.decorators.http import require_POST

from apps.accounts.choices import DeviceKind, Permission, Role
from apps.accounts.forms import (
    DeviceForm,
    FacilityForm,
    GivenPasswordForm,
    PasswordForm,
    PersonForm,
    PinForm,
    PinSetForm,
    RolesForm,
    SignInForm,
)
from apps.accounts.models import Device, Person
from apps.accounts.policies import PersonRequest, requires
from apps.accounts.selectors import OWNER_ADD, facility, facility_row, has_people, people, people_with_pin
from apps.accounts.services import (
    device_register,
    facility_set,
    password_set,
    person_add,
    person_close,
    person_roles_set,
    pin_set,
    pin_switch,
    sign_in_refused,
    sign_in_waits,
)
from apps.accounts.services.people import device_key_hash
from apps.core import clock
from apps.core.errors import DomainError

TABLET_COOKIE = "tablet"
SEEN = "seen_at"
LOCKED = "locked"
BY_ITSELF = "/api/v1/observations/"
SET_PASSWORD = "set_password"
BY_PASSWORD = "password"
BACKEND = "django.contrib.auth.backends.ModelBackend"


class SignIn(LoginView):
    """The sign-in page."""

    template_name = "accounts/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def dispatch(self, request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
        """A shared tablet asks for a PIN first; its page leads here with ``password`` for who has none.

        On a locked tablet the form is shown although somebody is signed in: it is the way out without a PIN.
        """
        here = request.user.is_authenticated and LOCKED not in request.session
        by_pin = request.method == "GET" and BY_PASSWORD not in request.GET and not here
        if by_pin and this_tablet(request) is not None and people_with_pin().exists():
            return redirect(f"{reverse('accounts:pin')}?{urlencode({'next': request.GET.get('next', '/')})}")
        self.redirect_authenticated_user = LOCKED not in request.session
        return super().dispatch(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """In an empty facility the page says how its first owner comes in."""
        words = "" if has_people() else f"On the machine that runs it: {OWNER_ADD}"
        return super().get_context_data(owner_add=words, **kwargs)

    def form_valid(self, form: object) -> HttpResponse:
        """Signing in opens a locked tablet too."""
        response = super().form_valid(form)  # type: ignore[arg-type]
        self.request.session.pop(LOCKED, None)
        return response


def this_tablet(request: HttpRequest) -> Device | None:
    """The registered shared tablet this browser is, if it is one."""
    key = request.COOKIES.get(TABLET_COOKIE, "")
    if not key:
        return None
    return Device.objects.filter(key_hash=device_key_hash(key), kind=DeviceKind.SHARED_TABLET, is_active=True).first()


def idle_lock(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware: a shared tablet left alone asks for a PIN; what was being typed stays in the page behind."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if not request.user.is_authenticated or TABLET_COOKIE not in request.COOKIES:
            return get_response(request)
        moment = clock.real_now().timestamp()
        seen = request.session.get(SEEN, moment)
        if request.path.startswith(("/sign-", "/pin/", "/static/")):
            return get_response(request)
        if moment - seen > facility().idle_lock_minutes * 60:
            request.session[LOCKED] = True
        if request.session.get(LOCKED):
            if request.path.startswith("/api/"):
                return HttpResponse(status=401)
            going = f"?{urlencode({'next': request.get_full_path()})}" if request.method == "GET" else ""
            return redirect(f"/pin/{going}")
        # what a device sends by itself is no sign that somebody is there
        if request.path != BY_ITSELF:
            request.session[SEEN] = moment
        return get_response(request)

    return middleware


def person_header(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware: a page says whose it is, so that a device keeps the pages of one person only."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        # whoever the page asked for; the page that says the database is gone asks for nobody
        person = getattr(request, "_cached_user", None)
        if isinstance(person, Person) and response.get("Content-Type", "").startswith("text/html"):
            response["X-Person"] = person.ref
        return response

    return middleware


@login_not_required
def administration_sign_in(request: HttpRequest) -> HttpResponse:
    """The administration has no sign-in of its own: one door, one count of wrong passwords."""
    if request.user.is_authenticated and not request.user.is_staff:
        raise PermissionDenied
    return redirect(f"{reverse('accounts:sign-in')}?{urlencode({'next': reverse('admin:index')})}")


@require_POST
@login_not_required
def sign_out(request: HttpRequest) -> HttpResponse:
    """End the session."""
    logout(request)
    return redirect("accounts:sign-in")


@login_not_required
def pin(request: HttpRequest) -> HttpResponse:
    """Change hands on a shared tablet: choose a name, type the PIN."""
    tablet = this_tablet(request)
    going = request.POST.get("next") or request.GET.get("next") or "/"
    if not url_has_allowed_host_and_scheme(going, allowed_hosts={request.get_host()}):
        going = "/"
    if tablet is None:
        return redirect(f"{reverse('accounts:sign-in')}?{urlencode({'next': going})}")
    form = PinForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        person = get_object_or_404(people_with_pin(), ref=form.cleaned_data["person"])
        try:
            pin_switch(person=person, pin=form.cleaned_data["pin"])
        except DomainError as error:
            form.add_error("pin", error.message)
        else:
            login(request, person, backend=BACKEND)
            request.session.pop(LOCKED, None)
            request.session[SEEN] = clock.real_now().timestamp()
            return redirect(going)
    return render(
        request,
        "accounts/pin.html",
        {"form": form, "people": people_with_pin(), "tablet": tablet, "next": going},
        status=400 if form.errors else 200,
    )


@requires(Permission.READ)
def me(request: PersonRequest) -> HttpResponse:
    """One's own page: rights in words, PIN, password."""
    asked = request.method == "POST"
    pin_form = PinSetForm(request.POST if asked and SET_PASSWORD not in request.POST else None)
    password_form = PasswordForm(
        request.POST if asked and SET_PASSWORD in request.POST else None, auto_id="password_%s"
    )
    if pin_form.is_bound and pin_form.is_valid():
        try:
            pin_set(by=request.user, pin=pin_form.cleaned_data["pin"])
        except DomainError as error:
            pin_form.add_error("pin", error.message)
        else:
            messages.success(request, "PIN set.")
            return redirect("accounts:me")
    if password_form.is_bound and password_form.is_valid() and _own_password_set(request, password_form):
        messages.success(request, "Password set. Other devices ask for it now.")
        return redirect("accounts:me")
    rights = sorted(permission.description for permission in request.user.permissions)
    return render(request, "accounts/me.html", {"pin_form": pin_form, "password_form": password_form, "rights": rights})


def _own_password_set(request: PersonRequest, form: PasswordForm) -> bool:
    """Set it when the old one is right; else the form says why not."""
    if sign_in_waits(person=request.user):
        form.add_error("old", "Too many wrong passwords. Wait 15 minutes.")
        return False
    if not request.user.check_password(form.cleaned_data["old"]):
        # whoever found the screen open shall not guess here either
        sign_in_refused(person=request.user)
        form.add_error("old", "This is not your password now.")
        return False
    try:
        person = password_set(by=request.user, person=request.user, password=form.cleaned_data["new"])
    except DomainError as error:
        form.add_error("new", error.message)
        return False
    update_session_auth_hash(request, person)
    return True


@requires(Permission.PEOPLE_EDIT)
def people_list(request: PersonRequest) -> HttpResponse:
    """Everybody, and the form for somebody new."""
    form = PersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            person = person_add(
                by=request.user,
                email=data["email"],
                name=data["name"],
                password=data["password"],
                roles=[Role(role) for role in data["roles"]],
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            form.add_error(error.field if error.field in form.fields else None, error.message)
        else:
            messages.success(request, f"{person.name} can sign in now.")
            return redirect("accounts:people")
    return render(
        request,
        "accounts/people.html",
        {
            "people": people(),
            "form": form,
            "roles": [(role, sorted(p.description for p in role.permissions)) for role in Role],
        },
    )


@requires(Permission.PEOPLE_EDIT)
def person_edit(request: PersonRequest, ref: str) -> HttpResponse:
    """Somebody's roles, a new password for who forgot theirs, closing the account."""
    person = get_object_or_404(people(), ref=ref)
    given = SET_PASSWORD in request.POST
    form = RolesForm(None if given else request.POST or None, initial={"roles": [role.value for role in person.roles]})
    password_form = GivenPasswordForm(request.POST if given else None, auto_id="password_%s")
    asked: RolesForm | GivenPasswordForm = password_form if given else form
    if request.method == "POST" and asked.is_valid():
        data = asked.cleaned_data
        try:
            if "close" in request.POST:
                person_close(by=request.user, person=person)
            elif given:
                password_set(by=request.user, person=person, password=data["new"])
            else:
                person_roles_set(by=request.user, person=person, roles=[Role(role) for role in data["roles"]])
        except DomainError as error:
            asked.add_error("new" if error.field == "password" else None, error.message)
        else:
            messages.success(request, f"{person.name} saved.")
            return redirect("accounts:people")
    return render(request, "accounts/person.html", {"person": person, "form": form, "password_form": password_form})


@requires(Permission.SETTINGS_EDIT)
def settings_page(request: PersonRequest) -> HttpResponse:
    """The facility's settings."""
    form = FacilityForm(request.POST or None, instance=facility_row())
    if request.method == "POST" and form.is_valid():
        try:
            facility_set(by=request.user, values={name: form.cleaned_data[name] for name in form.changed_data})
        except DomainError as error:
            form.add_error(error.field if error.field in form.fields else None, error.message)
        else:
            messages.success(request, "Settings saved.")
            return redirect("accounts:settings")
    return render(
        request,
        "accounts/settings.html",
        {
            "form": form,
            "device_form": DeviceForm(auto_id="device_%s"),
            "devices": Device.objects.order_by("name"),
            "tablet": this_tablet(request),
        },
    )


@require_POST
@requires(Permission.SETTINGS_EDIT)
def tablet_register(request: PersonRequest) -> HttpResponse:
    """Make this browser a shared tablet: from now on people switch on it by PIN."""
    form = DeviceForm(request.POST)
    if not form.is_valid():
        messages.error(request, "A tablet needs a name, such as “Barn tablet”.")
        return redirect("accounts:settings")
    _, key = device_register(by=request.user, name=form.cleaned_data["name"], kind=DeviceKind.SHARED_TABLET)
    response = redirect("accounts:settings")
    response.set_cookie(
        TABLET_COOKIE, key, max_age=86400 * 730, httponly=True, samesite="Lax", secure=request.is_secure()
    )
    messages.success(request, "This browser is a shared tablet now.")
    return response


def acting(request: HttpRequest) -> Person:
    """The signed-in person of a request that passed the right."""
    return cast(Person, request.user)
