"""Settings of the whole site. The environment is read here and nowhere else."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pghistory
from csp.constants import NONE, SELF
from psycopg.conninfo import conninfo_to_dict

from projectsite import env
from projectsite.core.placement import database_url

BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(env.string("PLENUM_VAR") or BASE_DIR / "var").resolve()

DEBUG = env.boolean("PLENUM_DEBUG")
SECRET_KEY = env.secret("PLENUM_SECRET_KEY", fallback_file=VAR_DIR / "secret-key")
HTTPS = env.boolean("PLENUM_HTTPS")
ALLOWED_HOSTS = env.words("PLENUM_ALLOWED_HOSTS", "127.0.0.1,localhost,[::1]")
CSRF_TRUSTED_ORIGINS = env.words("PLENUM_TRUSTED_ORIGINS")
PUBLIC_ADDRESS = env.string("PLENUM_ADDRESS", "http://127.0.0.1:8000")

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "rest_framework",
    "django_filters",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "django_htmx",
    "template_partials",
    "pgtrigger",
    "pghistory",
    "procrastinate.contrib.django",
    "axes",
    "csp",
    "projectsite.core",
    "projectsite.ui",
    "projectsite.accounts",
    "zones.inventory",
    "zones.work",
    "balancing.airflow",
    "reports",
    "projectsite",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "projectsite.core.middleware.CompressionMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "pghistory.middleware.HistoryMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "projectsite.core.middleware.ApplicationErrorMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "projectsite.urls"
WSGI_APPLICATION = "projectsite.wsgi.application"

TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "projectsite.ui.context.chrome",
            ],
        },
    },
]


def _database() -> dict[str, Any]:
    """Read DATABASE_URL with libpq's own rules; without it the private server below var/."""
    given = conninfo_to_dict(env.string("DATABASE_URL") or database_url(VAR_DIR))
    named = {
        "NAME": "dbname",
        "USER": "user",
        "PASSWORD": "password",
        "HOST": "host",
        "PORT": "port",
    }
    return {
        "ENGINE": "django.db.backends.postgresql",
        **{key: str(given.pop(name, "")) for key, name in named.items()},
        "OPTIONS": given,
        # Never reconnect per request; check first, so that a restarted server costs one retry.
        "CONN_MAX_AGE": 600,
        "CONN_HEALTH_CHECKS": True,
    }


DATABASES = {"default": _database()}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "accounts.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "projectsite.accounts.signed_in.PersonBackend",
]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]
LOGIN_URL = "accounts:sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "accounts:sign-in"

# Ten wrong passwords for one name from one address lock that pair for 15 minutes.
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = 0.25
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "accounts/locked.html"
AXES_IPWARE_PROXY_COUNT = env.integer("PLENUM_PROXY_COUNT", 0)
AXES_IPWARE_META_PRECEDENCE_ORDER = (
    ["HTTP_X_FORWARDED_FOR", "REMOTE_ADDR"] if AXES_IPWARE_PROXY_COUNT else ["REMOTE_ADDR"]
)
AXES_VERBOSE = False

USE_TZ = True
TIME_ZONE = "UTC"
LANGUAGE_CODE = "en-us"
USE_I18N = False

STATIC_URL = "/static/"
STATIC_ROOT = VAR_DIR / "static"
MEDIA_ROOT = VAR_DIR / "media"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "projectsite.core.static_storage.StaticStorage"},
}
FILE_UPLOAD_MAX_MEMORY_SIZE = 1_000_000
DATA_UPLOAD_MAX_MEMORY_SIZE = 5_000_000
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5_000

SESSION_ENGINE = "projectsite.accounts.signed_in"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SECURE = HTTPS
SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
SECURE_HSTS_PRELOAD = HTTPS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if AXES_IPWARE_PROXY_COUNT else None
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "img-src": [SELF, "data:"],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "object-src": [NONE],
    },
}

# History: one context per writing request, none for reading ones.
# Nothing goes without a trace: deletions are events too.
PGHISTORY_DEFAULT_TRACKERS = (
    pghistory.InsertEvent(),
    pghistory.UpdateEvent(),
    pghistory.DeleteEvent(),
)
PGHISTORY_MIDDLEWARE_METHODS = ("POST", "PUT", "PATCH", "DELETE")

PROCRASTINATE_AUTODISCOVER_MODULE_NAME = "jobs"

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "projectsite.accounts.authentication.ApiTokenAuthentication",
        "projectsite.accounts.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["projectsite.core.rendering.OrjsonRenderer"],
    "DEFAULT_PARSER_CLASSES": [
        "rest_framework.parsers.JSONParser",
        "rest_framework.parsers.MultiPartParser",
    ],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_PAGINATION_CLASS": "projectsite.core.paging.NumberedPages",
    "PAGE_SIZE": 100,
    "EXCEPTION_HANDLER": "projectsite.core.api_errors.handle",
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
SPECTACULAR_SETTINGS: dict[str, Any] = {
    "TITLE": "Plenum Ledger",
    "DESCRIPTION": "Terminal units of a building project, from the schedule to turnover. "
    "Quantities are SI numbers with the unit at the end of the field name.",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.IsAuthenticated"],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_NAME_OVERRIDES": {
        "UnitSystem": "projectsite.accounts.models.UnitSystemChoice",
        "Role": "projectsite.accounts.models.RoleChoice",
        "Trade": "projectsite.accounts.models.TradeChoice",
        "ProjectStatus": "projectsite.accounts.models.ProjectStatus",
        "LinkState": "projectsite.accounts.domain.types.LINK_STATES",
        "ImportTarget": "zones.inventory.models.ImportTarget",
        "ImportState": "zones.inventory.models.ImportState",
        "RowOutcome": "zones.inventory.models.RowOutcome",
        "WorkState": "zones.inventory.models.WorkState",
        "RevisionDifference": "zones.inventory.serializers.imports.DIFFERENCES",
        "InstrumentKind": "balancing.airflow.serializers.INSTRUMENT_KINDS",
        "FlowTestState": "balancing.airflow.serializers.TEST_STATES",
        "Round": "balancing.airflow.serializers.ROUNDS",
        "Setpoint": "balancing.airflow.serializers.SETPOINTS",
        "KMethod": "balancing.airflow.serializers.K_METHODS",
        "Verdict": "balancing.airflow.serializers.VERDICTS",
        "Severity": "balancing.airflow.serializers.SEVERITIES",
        "OutletKind": "zones.inventory.models.OutletKind",
        "Fan": "zones.inventory.domain.fields.FANS",
        "Heat": "zones.inventory.domain.fields.HEATS",
        "YesNo": "zones.inventory.domain.fields.OPTIONS",
        "PlanMark": "zones.work.serializers.plans.PLAN_MARKS",
        "StepMark": "zones.work.serializers.board.MARKS",
        "StepState": "zones.work.serializers.board.BOARD_STATES",
        "FileKind": "zones.work.models.files.FILE_KINDS",
        "PunchSubject": "zones.work.serializers.punch.SUBJECT_KINDS",
        "PunchWeight": "zones.work.domain.words.SEVERITIES",
        "PunchState": "zones.work.domain.words.PUNCH_STATES",
        "WorkTrade": "zones.work.domain.words.TRADES",
        "StepPer": "zones.work.domain.words.PER",
        "UnitOption": "zones.work.domain.words.NEEDS",
        "CheckoutState": "zones.work.serializers.checkouts.CHECKOUT_STATES",
        "CheckoutPointKind": "zones.work.serializers.checkouts.POINT_KINDS",
        "CheckoutPointSource": "zones.work.serializers.checkouts.POINT_SOURCES",
        "CheckoutVerdict": "zones.work.serializers.checkouts.POINT_VERDICTS",
        "DocumentKind": "reports.models.DocumentKind",
        "DocumentState": "reports.models.DocumentState",
        "RenderState": "reports.models.RenderState",
    },
}

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname:<7} {name}: {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": "INFO"},
    "loggers": {
        "axes": {"level": "WARNING"},
        "fontTools": {"level": "WARNING"},
        "procrastinate": {"level": "WARNING"},
    },
}

SILENCED_SYSTEM_CHECKS: list[str] = []
SITE_ROOT = BASE_DIR
IGNORABLE_404_URLS = [re.compile(r"^/favicon\.ico$")]
