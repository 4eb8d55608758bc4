"""A person's own pages: home, account, password, tokens."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from projectsite.accounts.access import person_of
from projectsite.accounts.domain.codes import new_token
from projectsite.accounts.forms import AccountForm, ChangePasswordForm, TokenForm
from projectsite.accounts.operations import own
from projectsite.accounts.queries import account_of, projects_of, tokens_of
from projectsite.core import waiting
from projectsite.core.errors import ApplicationError


@require_GET
def home(request: HttpRequest) -> HttpResponse:
    """Projects of the person, and in each what waits for the person."""
    person = person_of(request)
    items = waiting.collect(person)
    projects = [(project, items.get(project.key, [])) for project in projects_of(person)]
    context = {"projects": projects, "account": account_of(person)}
    return render(request, "accounts/home.html", context)


@require_http_methods(["GET", "POST"])
def account(request: HttpRequest) -> HttpResponse:
    """Own name and units for reading."""
    person = person_of(request)
    current = account_of(person)
    initial = {"full_name": current.full_name, "reading_system": current.reading_system}
    form = AccountForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            own.change_account(person, **form.cleaned_data)
        except ApplicationError as error:
            form.refuse(error)
        else:
            messages.success(request, "Saved.")
            return redirect("accounts:account")
    return render(request, "accounts/account.html", {"form": form, "account": current})


@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def password(request: HttpRequest) -> HttpResponse:
    """Change the own password."""
    form = ChangePasswordForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        old, new = form.cleaned_data["old_password"], form.cleaned_data["new_password"]
        try:
            own.change_password(person_of(request), old_password=old, new_password=new)
        except ApplicationError as error:
            form.refuse(error)
        else:
            keep_session(request)
            messages.success(request, "Your password is changed. Other sessions have ended.")
            return redirect("accounts:account")
    return render(request, "accounts/password.html", {"form": form})


def keep_session(request: HttpRequest) -> None:
    """Let this session live on after the password changed."""
    if request.user.is_authenticated:
        request.user.refresh_from_db()
        update_session_auth_hash(request, request.user)


@never_cache
@require_http_methods(["GET", "POST"])
def tokens(request: HttpRequest) -> HttpResponse:
    """List the API tokens and make one; it is shown in this one answer only."""
    person, now, shown = person_of(request), timezone.now(), ""
    form = TokenForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        code = new_token()
        try:
            own.create_token(person, code=code, at=now, **form.cleaned_data)
        except ApplicationError as error:
            form.refuse(error)
        else:
            shown, form = code.plain, TokenForm()
    context = {"form": form, "tokens": tokens_of(person, at=now), "shown": shown}
    return render(request, "accounts/tokens.html", context)


@require_POST
def revoke_token(request: HttpRequest, token_id: int) -> HttpResponse:
    """Make a token stop working."""
    own.revoke_token(person_of(request), token_id=token_id, at=timezone.now())
    messages.success(request, "The token is revoked; programs that use it are refused from now on.")
    return redirect("accounts:tokens")
