"""Settings; everything a keeper may change comes from the environment (see README, "Settings").

Safe by default: DEBUG is off, the secret key is made on first run and kept beside the database.
"""

import os
import sys
from pathlib import Path

from breeder.base.addresses import USUAL_HOSTS
from breeder.base.environment import (
    OTHERS_MAY_NOT,
    OWNER_ENTERS,
    OWNER_READS,
    data_folder,
    database_from,
    names_in,
    secret_key_in,
)

# Before numpy is loaded: the matrices of a check are small, and a second thread only spins (four times slower).
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Whatever this process writes (database, key, photos, backups) is for its owner alone.
os.umask(OTHERS_MAY_NOT)

# In a checkout templates and fixtures lie beside the package; an installed package brings them inside.
PACKAGE = Path(__file__).resolve().parent
BASE_DIR = PACKAGE if (PACKAGE / "templates").is_dir() else PACKAGE.parent
DATA_DIR = data_folder(os.environ.get("BREEDER_DATA"))

DEBUG = os.environ.get("BREEDER_DEBUG") == "1"
SECRET_KEY = secret_key_in(DATA_DIR)
ALLOWED_HOSTS = names_in(os.environ.get("BREEDER_HOSTS", USUAL_HOSTS))

# Behind HTTPS the cookies and the transport are tightened; on a plain home network they must work as they are.
HTTPS = os.environ.get("BREEDER_HTTPS") == "1"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = HTTPS
# Of this name alone: what else the keeper serves under names below it is not this book's to decide.
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
if HTTPS:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    CSRF_TRUSTED_ORIGINS = [f"https://{host}" for host in ALLOWED_HOSTS]
SESSION_COOKIE_AGE = 60 * 60 * 24 * 30
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CSP = {
    "default-src": ["'self'"],
    "img-src": ["'self'", "data:"],
    "object-src": ["'none'"],
    "base-uri": ["'self'"],
    "form-action": ["'self'"],
    "frame-ancestors": ["'none'"],
}

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "django_tables2",
    "django_htmx",
    "axes",
    "breeder",
]
MIDDLEWARE = [
    "breeder.middleware.HeadersOnly",
    "breeder.middleware.CompressedText",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "breeder.middleware.ContentSecurityPolicy",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "breeder.middleware.PrivatePages",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "breeder.middleware.AnswerToPhone",
    "breeder.middleware.HouseholdTime",
    "breeder.middleware.RepeatedAnswer",
    "breeder.middleware.PageOfAForm",
    "breeder.middleware.Troubles",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "breeder.urls"
WSGI_APPLICATION = "breeder.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "breeder.base.context_processors.household",
            ],
            "builtins": ["breeder.templatetags.notebook"],
        },
    },
]

DATABASES = {"default": database_from(os.environ.get("BREEDER_DATABASE"), DATA_DIR)}

AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "dashboard:page"
LOGOUT_REDIRECT_URL = "login"
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_LOCKOUT_TEMPLATE = "registration/locked.html"
AXES_CLIENT_IP_CALLABLE = "breeder.base.login_origin.address_of"
AXES_VERBOSE = False

CHECK_PATIENCE_S = 0.3  # after which no other box is checked in the same page; the list goes on by itself
BOARD_PATIENCE_S = 0.4  # after which the board shows what is worked out so far; the rest follows beside the page

LANGUAGE_CODE = "en"
TIME_ZONE = "UTC"
USE_I18N = True
USE_TZ = True

STATIC_URL = "static/"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True
MEDIA_ROOT = DATA_DIR / "photos"
BACKUPS = "breeder.management.backup_file"  # what writes and reads a backup for the page of backups
FILE_UPLOAD_PERMISSIONS, FILE_UPLOAD_DIRECTORY_PERMISSIONS = OWNER_READS, OWNER_ENTERS
DATA_UPLOAD_MAX_MEMORY_SIZE = 6_000_000
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5_000

DJANGO_TABLES2_TEMPLATE = "base/_table.html"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
MESSAGE_STORAGE = "breeder.base.replies.PlacedMessages"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"trouble": {"()": "breeder.base.machine_faults.SayTrouble"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "stream": sys.stderr, "filters": ["trouble"]}},
    "root": {"handlers": ["console"], "level": "WARNING"},
}
