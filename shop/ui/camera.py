"""The policy of the one script that may run compiled code: the reader of codes in camera pictures.

A worker obeys the Content-Security-Policy it is served with, not the page's. So no page of ours allows `wasm-unsafe-eval`;
the worker does, and in return may load nothing but the two files beside it, from this shop alone.
"""

from __future__ import annotations

from wsgiref.headers import Headers

POLICY = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; connect-src 'self'"


def add_policy(headers: Headers, path: str, url: str) -> None:
    """WHITENOISE_ADD_HEADERS_FUNCTION: called for each static file at the start."""
    if "/ui/camera/worker." in url:
        headers["Content-Security-Policy"] = POLICY
