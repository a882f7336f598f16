"""Django settings. Everything that differs between places comes from the environment (see README, "Settings")."""

from shop.ui.camera import add_policy

from . import environment as env

DATA = env.data_folder()
BASE_DIR = env.ROOT

DEBUG = env.flag("TALLYBENCH_DEBUG")
SECRET_KEY = env.secret_key(DATA)
ALLOWED_HOSTS = env.hosts()
PLAIN_HTTP = env.flag("TALLYBENCH_PLAIN_HTTP")  # for a shop's own network without TLS, and the demo
BEHIND_PROXY = env.flag("TALLYBENCH_BEHIND_PROXY")  # trust X-Forwarded-Proto and -For of the proxy in front
BIND = env.bind()
PORT = env.number("PORT", 8000, 1, 65535)

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "django.forms",
    "rest_framework",
    "drf_spectacular",
    "django_htmx",
    "shop.people",
    "shop.trail",
    "shop.numbering",
    "shop.business",
    "shop.documents",
    "inventory.parts",
    "inventory.stock",
    "inventory.labels",
    "inventory.buying",
    "inventory.reorder",
    "jobs.machines",
    "jobs.plans",
    "jobs.cards",
    "jobs.timebook",
    "jobs.draws",
    "jobs.learning",
    "jobs.alerts",
    "jobs.estimates",
    "jobs.replies",
    "jobs.sublet",
    "jobs.invoices",
    "jobs.accounts",
    "jobs.books",
    "jobs.reports",
    "jobs.exchange",
    "jobs.desk",
    "shop.ui",
    "shop.api",
    "shop.config",
]

MIDDLEWARE = [
    "shop.trail.middleware.RequestId",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "shop.ui.middleware.Compressed",
    "shop.ui.middleware.ContentPolicy",
    "shop.config.middleware.Session",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "shop.config.middleware.SignedIn",
    "shop.config.middleware.AtTheTablet",
    "shop.config.middleware.Messages",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "shop.config.middleware.Htmx",
]

ROOT_URLCONF = "shop.config.urls"
WSGI_APPLICATION = "shop.config.wsgi.application"
FORM_RENDERER = "shop.ui.forms.Renderer"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "shop.ui.context.shell",
                "shop.business.context.business",
            ],
        },
    }
]

DATABASES = {"default": env.database(DATA)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "shop_people.Person"
AUTHENTICATION_BACKENDS = ["shop.people.backends.ByName"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "people:sign-in"
LOGIN_REDIRECT_URL = "/"

LANGUAGE_CODE = "en-gb"
LANGUAGES = [("en", "English"), ("de", "Deutsch")]
TIME_ZONE = env.time_zone()
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT = DATA / "static"
MEDIA_URL = "/files/raw/"  # never served from here; files go through the authorised view
MEDIA_ROOT = DATA / "files"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}
WHITENOISE_ADD_HEADERS_FUNCTION = add_policy  # of the camera's reader
WHITENOISE_USE_FINDERS = DEBUG
WHITENOISE_AUTOREFRESH = DEBUG

REDIS_URL = env.redis_url()
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
SESSION_ENGINE = "django.contrib.sessions.backends.db"
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"
OUTBOX_BROKER = bool(REDIS_URL)  # wake Celery after a commit; without Redis the serving process drains by itself
OUTBOX_STUCK_AFTER = env.number(
    "TALLYBENCH_STUCK_SECONDS", 300, 5, 86_400
)  # then a claimed row's worker counts as dead
WORKER_DEAF_AFTER = env.number("TALLYBENCH_DEAF_SECONDS", 90, 3, 86_400)  # of taking nothing while messages wait

globals().update(env.mail(DATA))
DEFAULT_FROM_EMAIL = env.mail_from()
SERVER_EMAIL = DEFAULT_FROM_EMAIL

# Safe by default; PLAIN_HTTP loosens only what can't work without TLS.
SESSION_COOKIE_NAME = "tallybench_session"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 12 * 3600
SESSION_COOKIE_SECURE = not PLAIN_HTTP
CSRF_COOKIE_SECURE = not PLAIN_HTTP
CSRF_COOKIE_HTTPONLY = True
CSRF_FAILURE_VIEW = "shop.config.errors.csrf_failure"
SECURE_SSL_REDIRECT = not PLAIN_HTTP
SECURE_REDIRECT_EXEMPT = [r"^healthz$"]  # asked from inside, past the proxy that does TLS
SECURE_HSTS_SECONDS = 0 if PLAIN_HTTP else 365 * 24 * 3600
SECURE_HSTS_INCLUDE_SUBDOMAINS = True
SECURE_HSTS_PRELOAD = True
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = None if PLAIN_HTTP else "same-origin"
X_FRAME_OPTIONS = "DENY"
if BEHIND_PROXY:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
CSRF_TRUSTED_ORIGINS = [f"https://{h}" for h in ALLOWED_HOSTS if not h.startswith("[")]

DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
FILE_UPLOAD_HANDLERS = [
    "shop.documents.quota.Quota",
    "django.core.files.uploadhandler.MemoryFileUploadHandler",
    "django.core.files.uploadhandler.TemporaryFileUploadHandler",
]
DOCUMENT_FONT_DIRS = env.folders("TALLYBENCH_FONT_DIRS")

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["shop.people.authentication.ByToken", "shop.api.auth.BySession"],
    "DEFAULT_PERMISSION_CLASSES": ["shop.api.auth.HasRight"],
    "DEFAULT_RENDERER_CLASSES": ["shop.api.rendering.JSON"],
    "DEFAULT_PARSER_CLASSES": ["shop.api.parsing.JSONBody"],
    "DEFAULT_SCHEMA_CLASS": "shop.api.schema.Schema",
    "DEFAULT_VERSIONING_CLASS": None,
    "EXCEPTION_HANDLER": "shop.api.problems.handler",
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
    "STRICT_JSON": True,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Tallybench",
    "DESCRIPTION": "Job cards, parts, hours, estimates and invoices of a small mechanical rebuild shop.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "SERVE_INCLUDE_SCHEMA": False,
    "COMPONENT_SPLIT_REQUEST": False,
    "SORT_OPERATION_PARAMETERS": False,
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "POSTPROCESSING_HOOKS": ["shop.api.schema.finish"],
    "APPEND_COMPONENTS": {},
    "SWAGGER_UI_SETTINGS": {},
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "%(asctime)s %(levelname)s %(name)s %(message)s"}},
    "filters": {"masked": {"()": "shop.config.masking.Masked"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line", "filters": ["masked"]}},
    "root": {"handlers": ["stderr"], "level": "WARNING"},
    "loggers": {
        "tallybench": {"level": "INFO"},
        "django.request": {"level": "ERROR"},  # a 4xx is the caller's matter and has its answer
    },
}
