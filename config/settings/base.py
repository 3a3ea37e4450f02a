"""Safe by default: embedded mode (SQLite, filesystem carrier) on localhost unless the environment says otherwise."""

from __future__ import annotations

import importlib.resources
from pathlib import Path
from typing import Any

import django_stubs_ext
from csp.constants import NONE, SELF

from config import logs
from config.settings import env

django_stubs_ext.monkeypatch()

BASE_DIR = Path(__file__).resolve().parent.parent.parent
DATA_DIR = Path(env.text("BROODWRIGHT_DATA", str(BASE_DIR / ".broodwright"))).resolve()
SERVICE_MODE = bool(env.text("DATABASE_URL"))
DEBUG = env.flag("BROODWRIGHT_DEBUG")
SECRET_KEY = env.secret_key(DATA_DIR, SERVICE_MODE)
ALLOWED_HOSTS = env.words("BROODWRIGHT_HOSTS", "localhost,127.0.0.1,[::1]")
SITE_URL = env.text("BROODWRIGHT_URL", "http://localhost:8000")
HTTPS = SITE_URL.startswith("https://")
CSRF_TRUSTED_ORIGINS = [SITE_URL] if HTTPS else []

INSTALLED_APPS = [
    "config.wiring.Wiring",
    "apps.core",
    "apps.accounts",
    "apps.documents",
    "apps.jobs",
    "apps.places",
    "apps.animals",
    "apps.care",
    "apps.breeding",
    "apps.incubation",
    "apps.hatchlings",
    "apps.inventory",
    "apps.shipping",
    "apps.dashboards",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_htmx",
    "django_filters",
    "csp",
    "rest_framework",
    "rest_framework.authtoken",
    "drf_spectacular",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "apps.core.middleware.request_log",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "apps.accounts.views.idle_lock",
    "apps.accounts.views.person_header",
    "apps.core.middleware.domain_errors",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "config.context.shell",
            ],
            "builtins": ["apps.core.templatetags.ui"],
        },
    },
]

DATABASES = {
    "default": env.database(
        env.text("DATABASE_URL"),
        {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": DATA_DIR / "broodwright.sqlite3",
            "OPTIONS": {
                # IMMEDIATE: a deferred transaction fails at once on lock upgrade, whatever the timeout
                "transaction_mode": "IMMEDIATE",
                "timeout": 20,
                "init_command": (
                    "PRAGMA journal_mode=WAL;PRAGMA synchronous=NORMAL;PRAGMA mmap_size=134217728;"
                    "PRAGMA journal_size_limit=27103364;PRAGMA cache_size=-20000;PRAGMA temp_store=MEMORY"
                ),
            },
        },
    )
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "accounts.Person"
AUTHENTICATION_BACKENDS = ["django.contrib.auth.backends.ModelBackend"]
LOGIN_URL = "accounts:sign-in"
LOGIN_REDIRECT_URL = "/"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]

LANGUAGE_CODE = "en"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [("fonts", str(importlib.resources.files("fontpkg_atkinson_hyperlegible") / "files"))]
STORAGES: dict[str, dict[str, Any]] = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage", "OPTIONS": {"location": DATA_DIR / "files"}},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
DOCUMENT_DIR = DATA_DIR / "documents"
MAIL_OUTBOX_DIR = DATA_DIR / "outbox"

# Uploads: 20 MB, imports 50 MB (streamed to disk past 2.5 MB); the request bound is a little above the larger.
UPLOAD_MAX_BYTES = 20 * 1024 * 1024
IMPORT_MAX_BYTES = 50 * 1024 * 1024
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
FILE_UPLOAD_HANDLERS = [
    "apps.core.uploads.CappedUpload",
    "django.core.files.uploadhandler.MemoryFileUploadHandler",
    "django.core.files.uploadhandler.TemporaryFileUploadHandler",
]
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000
WHAT_IF_MAX_BYTES = 1024 * 1024
WHAT_IF_SECONDS = 5.0

EMAIL_BACKEND = (
    "django.core.mail.backends.smtp.EmailBackend"
    if env.text("SMTP_HOST")
    else ("django.core.mail.backends.filebased.EmailBackend")
)
EMAIL_FILE_PATH = str(MAIL_OUTBOX_DIR)
EMAIL_HOST = env.text("SMTP_HOST")
EMAIL_PORT = int(env.text("SMTP_PORT", "587"))
EMAIL_HOST_USER = env.text("SMTP_USER")
EMAIL_HOST_PASSWORD = env.text("SMTP_PASSWORD")
EMAIL_USE_TLS = env.flag("SMTP_TLS", True)
EMAIL_TIMEOUT = 15
DEFAULT_FROM_EMAIL = env.text("MAIL_FROM", "broodwright@localhost")

SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SECURE = HTTPS
CSRF_FAILURE_VIEW = "apps.core.views.csrf_failure"
SECURE_SSL_REDIRECT = HTTPS and not env.flag("BROODWRIGHT_BEHIND_PROXY")
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if env.flag("BROODWRIGHT_BEHIND_PROXY") else None
# W021: a browser's preload list is for public sites and hard to leave; a facility's house server does not belong there
SILENCED_SYSTEM_CHECKS = ["security.W021"]
SECURE_HSTS_SECONDS = 31536000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
SECURE_HSTS_PRELOAD = False
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
    }
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        # the token stands first: a request without any sign-in is then answered 401, not 403
        "rest_framework.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["apps.accounts.policies.PermissionDeclared"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_PAGINATION_CLASS": "apps.core.rest.NewestFirst",
    "PAGE_SIZE": 50,
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_VERSIONING_CLASS": None,
    "EXCEPTION_HANDLER": "apps.core.rest.problem_handler",
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Broodwright",
    "VERSION": "1",
    "DESCRIPTION": "Every act and record of one facility. Errors are problem+json that name the field.",
    "SERVE_INCLUDE_SCHEMA": False,
    # without it the schema would be open to whoever asks
    "SERVE_PERMISSIONS": ["apps.accounts.policies.PermissionDeclared"],
    "SCHEMA_PATH_PREFIX": "/api/v1/",
    "ENUM_ADD_EXPLICIT_BLANK_NULL_CHOICE": False,
    "COMPONENT_SPLIT_REQUEST": True,
    # several floors call a field kind, state or reason: each list of words has one name in the schema
    "ENUM_NAME_OVERRIDES": {
        "AdviceActEnum": "apps.breeding.choices.ACT_WORDS",
        "AnimalOriginEnum": "apps.animals.choices.Origin",
        "AnimalStatusEnum": "apps.animals.choices.Status",
        "CatalogueEditKindEnum": "apps.animals.choices.CatalogueEditKind",
        "BroodKindEnum": "apps.animals.choices.BroodKind",
        "BroodStateEnum": "apps.animals.choices.BroodState",
        "PurchaseDecisionEnum": "apps.animals.choices.Decision",
        "KeptDecisionEnum": "apps.care.choices.KeptDecision",
        "CheckKindEnum": "apps.incubation.choices.CheckKind",
        "DoseOutcomeEnum": "apps.care.choices.DoseOutcome",
        "DueKindEnum": "apps.care.choices.DueKind",
        "MarkKindEnum": "apps.care.choices.MarkKind",
        "MealOutcomeEnum": "apps.care.choices.MealOutcome",
        "NoReadingEnum": "apps.breeding.choices.NoReading",
        "RoomKindEnum": "apps.places.choices.RoomKind",
        "SampleKindEnum": "apps.care.choices.SampleKind",
        "ScanSideEnum": "apps.breeding.choices.Side",
        "ShedStageEnum": "apps.care.choices.ShedStage",
        "SkipReasonEnum": "apps.care.choices.SkipReason",
        "StrikeReasonEnum": "apps.care.choices.StrikeReason",
        "TaskKindEnum": "apps.care.choices.TaskKind",
        "TraitBasisEnum": "apps.animals.choices.TraitBasis",
        "TreatmentEndEnum": "apps.care.choices.TreatmentEnd",
        "WeatherKindEnum": "apps.shipping.choices.WeatherKind",
    },
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "apps.core.rest.document_problems",
    ],
}

# --- background work: one engine, two carriers -----------------------------------------------------------------
REDIS_URL = env.text("REDIS_URL")
CELERY_QUEUE_DIR = DATA_DIR / "queue"
CELERY_BROKER_URL = REDIS_URL or "filesystem://localhost//"
CELERY_BROKER_TRANSPORT_OPTIONS: dict[str, Any] = (
    {"visibility_timeout": 3600}
    if REDIS_URL
    else {
        "data_folder_in": str(CELERY_QUEUE_DIR / "messages"),
        "data_folder_out": str(CELERY_QUEUE_DIR / "messages"),
        "control_folder": str(CELERY_QUEUE_DIR / "control"),
        "store_processed": False,
        "polling_interval": 0.2,
    }
)
CELERY_WORKER_PREFETCH_MULTIPLIER = 1 if REDIS_URL else 16
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_IGNORE_RESULT = True
CELERY_WORKER_ENABLE_REMOTE_CONTROL = False
CELERY_WORKER_SEND_TASK_EVENTS = False
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "beat-schedule")
CELERY_TASK_DEFAULT_QUEUE = "work"
CELERY_TASK_CREATE_MISSING_QUEUES = True
CELERY_TIMEZONE = "UTC"

logs.configure()
LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"()": "config.logs.formatter"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "plain"}},
    # the renderer of papers tells every step of its work
    "loggers": {"weasyprint": {"level": "ERROR"}, "fontTools": {"level": "ERROR"}},
    "root": {"handlers": ["console"], "level": env.text("BROODWRIGHT_LOG_LEVEL", "INFO")},
}
