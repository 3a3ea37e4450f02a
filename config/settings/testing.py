"""Settings of the tests: fast hashes, plain static files, work carried inside the test's own process."""

from __future__ import annotations

import tempfile
from pathlib import Path

from config.settings.base import *  # noqa: F403
from config.settings.base import INSTALLED_APPS, SERVICE_MODE, STORAGES

DATA_DIR = Path(tempfile.mkdtemp(prefix="broodwright-test-"))
SECRET_KEY = "a key for tests only"
if not SERVICE_MODE:
    DATABASES = {
        "default": {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": ":memory:",
            "OPTIONS": {"transaction_mode": "IMMEDIATE", "timeout": 20},
            # browser tests and tests with threads share one file between threads
            "TEST": {"NAME": DATA_DIR / "test.sqlite3"},
        }
    }
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
# live_server serves by finders, so hashed names would give 404
STORAGES = {
    **STORAGES,
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage", "OPTIONS": {"location": DATA_DIR / "files"}},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
INSTALLED_APPS = [app for app in INSTALLED_APPS if app != "whitenoise.runserver_nostatic"]
STATIC_ROOT = DATA_DIR / "static"
DOCUMENT_DIR = DATA_DIR / "documents"
MAIL_OUTBOX_DIR = DATA_DIR / "outbox"
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]
CELERY_BROKER_URL = "memory://"
CELERY_BROKER_TRANSPORT_OPTIONS = {}
WHITENOISE_AUTOREFRESH = True
