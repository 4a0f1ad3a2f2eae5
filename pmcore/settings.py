"""One settings file, by environment. A wrong or missing value names itself and stops the start.

PMCORE_DATA        folder of the SQLite file, queue, mail, files and keys (default: data/ in the checkout)
DATABASE_URL       postgres://… switches from the embedded SQLite file to a server
REDIS_URL          redis://… switches from the embedded file queue to a server
PMCORE_SECRET_KEY  signs sessions; needed with DATABASE_URL, otherwise made once and kept in PMCORE_DATA
PMCORE_HOSTS       comma-separated host names that are answered (default: this machine only)
PMCORE_DEBUG       yes or no (default no)
"""

import sys
from pathlib import Path
from typing import Any

try:  # a newer SQLite than the interpreter's own, where a wheel exists
    import pysqlite3

    sys.modules["sqlite3"] = pysqlite3
except ImportError:
    pass

from pmcore import environment as env

BASE = Path(__file__).resolve().parent.parent
DATA = env.folder("PMCORE_DATA", default=BASE / "data")

DATABASES: dict[str, dict[str, Any]] = {"default": env.database("DATABASE_URL", embedded=DATA / "pmcore.sqlite3")}
REDIS_URL = env.redis_url("REDIS_URL")
SECRET_KEY = env.secret("PMCORE_SECRET_KEY", kept_in=None if env.given("DATABASE_URL") else DATA / "secret-key")
ALLOWED_HOSTS = env.names("PMCORE_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
DEBUG = env.yes_or_no("PMCORE_DEBUG", default=False)

INSTALLED_APPS = [
    "pmcore",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "allauth",
    "allauth.account",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
]
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ]
        },
    }
]
ROOT_URLCONF = "pmcore.urls"
WSGI_APPLICATION = "pmcore.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
STATIC_URL = "static/"

USE_TZ = True
TIME_ZONE = "UTC"
LANGUAGE_CODE = "en"

AUTH_USER_MODEL = "pmcore.Account"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]
ACCOUNT_LOGIN_METHODS = {"username", "email"}
ACCOUNT_SIGNUP_FIELDS = ["username*", "password1*", "password2*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_ADAPTER = "pmcore.accounts.ClosedSignup"

EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
EMAIL_FILE_PATH = DATA / "mail"

# A lost connection is found when a worker takes it up again, not in the middle of a request.
CONN_HEALTH_CHECKS = True
