"""Settings for tests: the site's own, with fast hashing and no throttling by accident."""

from __future__ import annotations

import os

os.environ.setdefault(
    "PLENUM_SECRET_KEY", "tests-only-secret-key-that-protects-nothing-at-all-0123456789"
)

from projectsite.settings import *  # noqa: F403  # the environment is set first
from projectsite.settings import INSTALLED_APPS as SITE_APPS
from projectsite.settings import MIDDLEWARE as SITE_MIDDLEWARE

INSTALLED_APPS = [*SITE_APPS, "django_linear_migrations"]
FIRST_PARTY_APPS = [
    "projectsite.accounts",
    "zones.inventory",
    "zones.work",
    "balancing.airflow",
    "reports",
]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
ALLOWED_HOSTS = ["*"]
# Collected files do not exist in tests; the live server finds them where they are written.
MIDDLEWARE = [name for name in SITE_MIDDLEWARE if not name.endswith("WhiteNoiseMiddleware")]
