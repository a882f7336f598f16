"""The shell and the error pages, without a browser."""

import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.test import Client

pytestmark = pytest.mark.usefixtures("specimen_settings")
PATHS = ["", "bench/", "plain/", "swap/", *(f"error/{s}/" for s in (400, 403, 404, 413, 429, 500, 503))]


@pytest.mark.parametrize("path", PATHS)
def test_every_page_keeps_the_content_policy(path):
    """No inline script, handler or style, whatever the browser would make of it."""
    html = Client(raise_request_exception=False).get(f"/ui/specimen/{path}").content.decode()
    assert not re.search(r"<[^>]+\s(style|on[a-z]+)\s*=", html)
    assert not re.search(r"<style|javascript:|hx-on", html)
    for script in re.findall(r"<script[^>]*>", html):
        assert "src=" in script
        assert re.search(r'nonce="[\w-]{20,}"', script)


@pytest.mark.parametrize("status", [400, 403, 404, 413, 429, 500, 503])
def test_error_pages_need_no_context_and_say_what_to_do(status):
    html = render_to_string(f"{status}.html")
    assert "<h1>" in html
    assert html.count("<p>") >= 3
    assert "{{" not in html


def test_error_pages_tell_what_is_known():
    assert "15 MB" in render_to_string("413.html", {"limit": "15 MB"})
    assert "Try again in 30 seconds" in render_to_string("429.html", {"retry_after": 30})
    assert "Three wrong PINs." in render_to_string("429.html", {"message": "Three wrong PINs."})
    assert "open too long" in render_to_string("403.html", {"reason": "csrf"})
    assert "r-123" in render_to_string("500.html", {"request_id": "r-123"})


def test_someone_not_signed_in_sees_no_navigation_and_no_search():
    html = render_to_string("ui/base.html", {"shop_name": "Saltmarsh Engine Works"})
    assert "Sign out" not in html
    assert 'id="find"' not in html
    assert 'href="#main"' in html


def test_form_with_mistakes_answers_422_and_keeps_what_was_typed():
    client = Client()
    answer = client.post("/ui/specimen/", {"form": "intake", "customer": "Mara Quill", "hours": "1,234"})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert 'value="Mara Quill"' in html
    assert "can be read two ways" in html


def test_static_files_stay_small():
    sizes = {name: Path(finders.find(f"ui/{name}")).stat().st_size for name in ("ui.css", "ui.js")}
    assert sizes["ui.css"] < 40_000
    assert sizes["ui.js"] < 15_000
