"""Sign in, sign out, and what the holder of a one-time link sees."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import get_user_model, login, logout
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from projectsite.accounts.access import person_of
from projectsite.accounts.forms import ChoosePasswordForm, JoinForm, PlainForm, SignInForm
from projectsite.accounts.operations import joining
from projectsite.accounts.operations.joining import Joined
from projectsite.accounts.queries import open_link
from projectsite.core.errors import ApplicationError

BACKEND = "projectsite.accounts.signed_in.PersonBackend"


def _safe_next(request: HttpRequest) -> str:
    """Where to go afterwards: an address of this site, else home."""
    wanted = str(request.POST.get("next") or request.GET.get("next") or "")
    hosts = {request.get_host()}
    is_ours = url_has_allowed_host_and_scheme(wanted, hosts, require_https=request.is_secure())
    return wanted if is_ours else reverse(settings.LOGIN_REDIRECT_URL)


@login_not_required
@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    """Ask for name and password."""
    going_to = _safe_next(request)
    if request.user.is_authenticated:
        return HttpResponseRedirect(going_to)
    form = SignInForm(request.POST or None, request=request)
    if request.method == "POST" and form.is_valid() and form.user is not None:
        login(request, form.user, backend=BACKEND)
        return HttpResponseRedirect(going_to)
    return render(request, "accounts/sign_in.html", {"form": form, "next": going_to})


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    """End the session."""
    logout(request)
    messages.success(request, "You are signed out.")
    return redirect(settings.LOGOUT_REDIRECT_URL)


@login_not_required
@never_cache
@sensitive_post_parameters("password", "again")
@require_http_methods(["GET", "POST"])
def join(request: HttpRequest) -> HttpResponse:
    """Show what a one-time link is for, and use it."""
    code = str(request.POST.get("code") or request.GET.get("code") or "")
    link = open_link(code, at=timezone.now())
    is_joining_as_me = request.user.is_authenticated and bool(link.role)
    form = _form_for(request, is_for_password=bool(link.username), name=link.invited_name)
    if request.method == "POST" and (is_joining_as_me or form.is_valid()):
        try:
            return _welcome(request, _use(request, code, form, is_joining_as_me=is_joining_as_me))
        except ApplicationError as error:
            _tell(request, form, error, is_joining_as_me=is_joining_as_me)
    context = {"form": form, "link": link, "code": code, "as_me": is_joining_as_me}
    return render(request, "accounts/join.html", context)


def _form_for(request: HttpRequest, *, is_for_password: bool, name: str) -> PlainForm:
    if is_for_password:
        return ChoosePasswordForm(request.POST or None)
    return JoinForm(request.POST or None, initial={"full_name": name})


def _use(request: HttpRequest, code: str, form: PlainForm, *, is_joining_as_me: bool) -> Joined:
    now = timezone.now()
    if is_joining_as_me:
        return joining.join_as(person_of(request), code=code, at=now)
    values: dict[str, Any] = {name: form.cleaned_data[name] for name in form.fields}
    del values["again"]
    if isinstance(form, ChoosePasswordForm):
        return joining.choose_password(code=code, at=now, **values)
    return joining.join_as_new_person(code=code, at=now, **values)


def _welcome(request: HttpRequest, joined: Joined) -> HttpResponse:
    if request.user.pk != joined.user_id:
        user = get_user_model().objects.get(pk=joined.user_id)
        login(request, user, backend=BACKEND)
    messages.success(request, "Welcome. The link is used up now.")
    if joined.project_key:
        return redirect("accounts:project", project_key=joined.project_key)
    return redirect("home")


def _tell(
    request: HttpRequest, form: PlainForm, error: ApplicationError, *, is_joining_as_me: bool
) -> None:
    if is_joining_as_me:
        messages.error(request, error.message)
    else:
        form.refuse(error)
