"""Addresses of people and projects: pages of the site, pages of a project, and the API."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from projectsite.accounts.api import own as own_api
from projectsite.accounts.api import people as people_api
from projectsite.accounts.api import projects as projects_api
from projectsite.accounts.views import entering, own, people, projects

app_name = "accounts"

site_urlpatterns: list[URLPattern | URLResolver] = [
    path("sign-in/", entering.sign_in, name="sign-in"),
    path("sign-out/", entering.sign_out, name="sign-out"),
    path("join/", entering.join, name="join"),
    path("account/", own.account, name="account"),
    path("account/password/", own.password, name="password"),
    path("account/tokens/", own.tokens, name="tokens"),
    path("account/tokens/<int:token_id>/revoke/", own.revoke_token, name="revoke-token"),
    path("projects/new/", projects.new_project, name="new-project"),
]
"""Pages that belong to no project; mounted at the root."""

project_urlpatterns: list[URLPattern | URLResolver] = [
    path("", projects.project, name="project"),
    path("settings/", projects.settings, name="settings"),
    path("people/", people.people, name="people"),
    path("people/invite/", people.invite, name="invite"),
    path("people/<int:user_id>/", people.member, name="member"),
    path("people/<int:user_id>/remove/", people.remove, name="remove-member"),
    path("people/<int:user_id>/password-link/", people.password_link, name="password-link"),
    path("people/links/<int:link_id>/withdraw/", people.withdraw, name="withdraw-link"),
]
"""Pages of a project; mounted below ``p/<project_key>/``."""

site_api_urlpatterns: list[URLPattern | URLResolver] = [
    path("me/", own_api.MeApi.as_view(), name="me"),
    path("me/password/", own_api.PasswordApi.as_view(), name="password"),
    path(
        "me/tokens/",
        own_api.TokensApi.as_view({"get": "list", "post": "create"}),
        name="tokens",
    ),
    path(
        "me/tokens/<int:token_id>/", own_api.TokensApi.as_view({"delete": "destroy"}), name="token"
    ),
    path("join/", own_api.JoinApi.as_view(), name="join"),
    path("join/new-person/", own_api.JoinAsNewPersonApi.as_view(), name="join-new-person"),
    path("join/password/", own_api.ChoosePasswordApi.as_view(), name="choose-password"),
    path(
        "projects/",
        projects_api.ProjectsApi.as_view({"get": "list", "post": "create"}),
        name="projects",
    ),
]
"""API that belongs to no project; mounted below ``api/v1/``."""

api_urlpatterns: list[URLPattern | URLResolver] = [
    path(
        "",
        projects_api.ProjectApi.as_view({"get": "retrieve", "patch": "partial_update"}),
        name="project",
    ),
    path("people/", people_api.PeopleApi.as_view({"get": "list"}), name="people"),
    path(
        "people/<int:user_id>/",
        people_api.PeopleApi.as_view({"get": "retrieve", "put": "update", "delete": "destroy"}),
        name="member",
    ),
    path(
        "people/<int:user_id>/password-link/",
        people_api.PeopleApi.as_view({"post": "password_link"}),
        name="password-link",
    ),
    path(
        "invitations/",
        people_api.LinksApi.as_view({"get": "list", "post": "create"}),
        name="invitations",
    ),
    path(
        "invitations/<int:link_id>/",
        people_api.LinksApi.as_view({"delete": "destroy"}),
        name="invitation",
    ),
]
"""API of a project; mounted below ``api/v1/projects/<project_key>/``."""
