"""One settings file. Embedded defaults in plain sight; each is overridden by one variable."""

import os
from pathlib import Path

import environ
from django.core.management.utils import get_random_secret_key

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()

# Everything the embedded installation writes lies in one folder, so that one folder is backed up.
DATA_DIR = Path(env.str("ITM_DATA", default=str(BASE_DIR / ".var")))
DATA_DIR.mkdir(parents=True, exist_ok=True)


def kept_secret(path: Path) -> str:
    """The secret of this installation: made at the first start, readable by its owner only."""
    try:
        handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    except FileExistsError:
        return path.read_text()
    secret = get_random_secret_key()
    with os.fdopen(handle, "w") as file:
        file.write(secret)
    return secret


DEBUG = env.bool("DEBUG", default=False)
SECRET_KEY = env.str("SECRET_KEY", default="") or kept_secret(DATA_DIR / "secret_key")
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])
# The address that QR codes and mails carry.
PUBLIC_URL = env.str("PUBLIC_URL", default="http://127.0.0.1:8000").rstrip("/")

INSTALLED_APPS = [
    "itm.core",
    "itm.accounts",
    "itm.registry",
    "itm.schedule",
    "itm.records",
    "itm.findings",
    "itm.retention",
    "itm.reports",
    "itm.intake",
    "itm.notices",
    "itm.archives",
    "itm.web",
    "itm.api",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.messages",
    "django.contrib.humanize",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",
    "csp",
    "django_htmx",
    "django_structlog",
    "drf_spectacular",
    "drf_spectacular_sidecar",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django_structlog.middlewares.RequestMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "itm.web.middleware.ActorMiddleware",
    "itm.web.middleware.RefusalMiddleware",
]

ROOT_URLCONF = "itm.urls"
WSGI_APPLICATION = "itm.wsgi.application"
AUTH_USER_MODEL = "accounts.User"
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign_in"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.messages.context_processors.messages",
                "itm.web.context.shell",
            ],
        },
    },
]

# Widgets of our own lie in templates/parts beside everything else a page shows.
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

DATABASES = {"default": env.db_url("DATABASE_URL", default=f"sqlite:///{DATA_DIR}/itm.sqlite3")}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["OPTIONS"] = {
        # IMMEDIATE: a transaction that reads and then writes would otherwise fail at once when
        # somebody else writes. FULL: an acknowledged hand-in survives a power cut.
        # recursive_triggers: without it INSERT OR REPLACE slips past the triggers on sealed rows.
        # cache_size: 64 MiB at most, so that a long import does not write its pages out again and
        # again before its commit.
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": (
            "PRAGMA journal_mode=WAL;PRAGMA synchronous=FULL;PRAGMA recursive_triggers=ON;"
            "PRAGMA cache_size=-65536;"
        ),
    }
else:
    DATABASES["default"]["CONN_MAX_AGE"] = env.int("CONN_MAX_AGE", default=60)
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True

AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in ("UserAttributeSimilarityValidator", "MinimumLengthValidator",
                 "CommonPasswordValidator")
]  # fmt: skip

LANGUAGE_CODE = "en"
TIME_ZONE = "UTC"
USE_I18N = False
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STATIC_ROOT.mkdir(exist_ok=True)
WHITENOISE_USE_FINDERS = True
MEDIA_ROOT = DATA_DIR / "files"
FILE_UPLOAD_HANDLERS = [
    "itm.web.uploading.BoundedUploads",
    "django.core.files.uploadhandler.MemoryFileUploadHandler",
    "django.core.files.uploadhandler.TemporaryFileUploadHandler",
]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": env.str(
            "STATIC_STORAGE", default="django.contrib.staticfiles.storage.StaticFilesStorage"
        )
    },
}

EMAIL_CONFIG = env.email_url("EMAIL_URL", default="consolemail://")
vars().update(EMAIL_CONFIG)
EMAIL_TIMEOUT = 60  # seconds for each answer of the mail server; own choice
DEFAULT_FROM_EMAIL = env.str("MAIL_FROM", default="foam-itm@localhost")

# How promised work is nudged: "thread" (one drainer in the server process, the embedded default),
# "celery" (workers on Redis), "none" (somebody calls outbox.drain; the tests do).
OUTBOX_NUDGE = env.str("OUTBOX_NUDGE", default="thread")
REDIS_URL = env.str("REDIS_URL", default="redis://127.0.0.1:6379/0")

# Counts the requests of programs and copies of reports, so every process has to share it. The
# memory of the process is right for one; with several, name Redis here or each counts for itself.
CACHES = {"default": env.cache_url("CACHE_URL", default="locmemcache://itm")}
WEB_PROCESSES = env.int("WEB_CONCURRENCY", default=1)  # the variable that gunicorn reads
API_REQUESTS_A_MINUTE = env.int("API_REQUESTS_A_MINUTE", default=600)  # of one token
API_STRANGERS_A_MINUTE = env.int("API_STRANGERS_A_MINUTE", default=120)  # of one address
# Copies of reports of one person or link: each costs some two seconds of a processor.
COPIES_A_MINUTE = env.int("COPIES_A_MINUTE", default=10)
REST_FRAMEWORK = {
    "EXCEPTION_HANDLER": "itm.api.problems.handler",
    # How many proxies of ours stand in front: so many names at the end of X-Forwarded-For may be
    # believed. With none of them only the other end of the line counts, which nobody can invent.
    "NUM_PROXIES": env.int("PROXIES", default=0),
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_AUTHENTICATION_CLASSES": [],
    "UNAUTHENTICATED_USER": None,
    "DEFAULT_METADATA_CLASS": None,
    "DEFAULT_SCHEMA_CLASS": "itm.api.describing.Described",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Foam ITM",
    "VERSION": "1",
    "DESCRIPTION": (
        "Inspection, testing and maintenance records of fixed foam systems, for programs. What a "
        "program may see and do is what the person may who made its token. The arithmetic is the "
        "same as on the pages; whether a system may stay in service is for a qualified person to "
        "decide."
    ),
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "SERVE_INCLUDE_SCHEMA": False,
    "POSTPROCESSING_HOOKS": [],  # choices stand where they are used
    "ENUM_GENERATE_CHOICE_DESCRIPTION": True,
}

HTTPS = env.bool("HTTPS", default=False)
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None
SECURE_HSTS_SECONDS = env.int("HSTS_SECONDS", default=0)
SESSION_ENGINE = "itm.accounts.sessions"
SESSION_COOKIE_AGE = 14 * 24 * 3600  # from the last use
PASSWORD_RESET_TIMEOUT = 3600  # seconds that the link of a mail lives; own choice
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'self'"],
        "img-src": ["'self'", "data:"],  # small pictures inside the vendored stylesheet
        "object-src": ["'none'"],
        "base-uri": ["'none'"],
        "form-action": ["'self'"],
        "frame-ancestors": ["'none'"],
    }
}
SILENCED_SYSTEM_CHECKS = [
    "security.W004",  # HSTS is the operator's choice: HSTS_SECONDS
    "security.W005",  # and nobody but the operator knows what runs on the subdomains
    "security.W021",
    "security.W008",  # the proxy in front redirects to HTTPS
    *([] if HTTPS else ["security.W012", "security.W016"]),
]

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "json": {
            "()": "structlog.stdlib.ProcessorFormatter",
            "processor": "ext://itm.core.logs.renderer",
        }
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["console"], "level": env.str("LOG_LEVEL", default="WARNING")},
}
