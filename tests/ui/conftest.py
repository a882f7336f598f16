"""The specimen on a server of its own: real pages, real content policy, a person without a database."""

from __future__ import annotations

import threading
from socketserver import ThreadingMixIn
from types import SimpleNamespace
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server

import pytest
from django.contrib.staticfiles.handlers import StaticFilesHandler
from django.core.handlers.wsgi import WSGIHandler
from django.test import override_settings
from django.urls import include, path

from tests.browser.chromium import chromium  # noqa: F401

FEW = ("Today", "My stages", "Cards", "Parts")
MANY = (*FEW, "Machines", "Customers", "Stock", "Plans", "Estimates", "Invoices", "Hours", "Suppliers", "Import")

urlpatterns = [path("ui/", include("shop.ui.urls"))]


def cast(get_response):
    def answer(request):
        request.user = SimpleNamespace(
            pk=7,
            name="Ines Torvald",
            initials="IT",
            roles=["mechanic", "stores"],
            rights=frozenset(),
            is_authenticated=True,
        )
        return get_response(request)

    return answer


def shell(request):
    labels = FEW if "few" in request.GET else MANY
    return {
        "shop_name": "Saltmarsh Engine Works",
        "csp_nonce": request.csp_nonce,
        "rights": frozenset({"cards.edit"}),
        "nav": [{"label": x, "url": f"/ui/specimen/?{x}", "current": x == "Cards"} for x in labels],
    }


def settings_for_specimen():
    processors = [
        "django.template.context_processors.request",
        "django.contrib.messages.context_processors.messages",
        "tests.ui.conftest.shell",
    ]
    return override_settings(
        ROOT_URLCONF="tests.ui.conftest",
        MIDDLEWARE=[
            "shop.ui.middleware.ContentPolicy",
            "django.middleware.csrf.CsrfViewMiddleware",
            "tests.ui.conftest.cast",
            "django.contrib.messages.middleware.MessageMiddleware",
        ],
        MESSAGE_STORAGE="django.contrib.messages.storage.cookie.CookieStorage",
        TEMPLATES=[
            {
                "BACKEND": "django.template.backends.django.DjangoTemplates",
                "APP_DIRS": True,
                "OPTIONS": {"context_processors": processors},
            }
        ],
    )


@pytest.fixture
def specimen_settings():
    with settings_for_specimen():
        yield


class _Server(ThreadingMixIn, WSGIServer):
    daemon_threads = True


class _Quiet(WSGIRequestHandler):
    def log_message(self, *args):
        pass


@pytest.fixture(scope="module")
def specimen():
    """Address of the running specimen."""
    with settings_for_specimen():
        server = make_server("127.0.0.1", 0, StaticFilesHandler(WSGIHandler()), _Server, _Quiet)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/ui/specimen/"
        server.shutdown()
        server.server_close()
