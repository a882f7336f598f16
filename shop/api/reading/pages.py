"""Reference and problem pages; open to anyone, like the description itself: they hold no data of the shop."""

from __future__ import annotations

import functools
import json
from pathlib import Path
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from shop.api import problems
from shop.ui.pages import page

from . import describing
from .walk import STEPS

HERE = Path(__file__).resolve().parents[1]


@functools.cache
def _tags() -> dict[str, list[describing.Operation]]:
    return describing.by_tag(describing.operations(json.loads((HERE / "openapi.json").read_text())))


@functools.cache
def _refusals() -> dict[str, Any]:
    return json.loads((HERE / "refusals.json").read_text())


@page(None, "GET")
def reference(request: HttpRequest) -> HttpResponse:
    host = f"{request.scheme}://{request.get_host()}"
    context = {"tags": _tags(), "steps": [(step, step.curl(host)) for step in STEPS]}
    return render(request, "shop_api/reference.html", context)


@page(None, "GET")
def tag(request: HttpRequest, name: str) -> HttpResponse:
    found = _tags().get(name)
    if found is None:
        raise Http404
    return render(request, "shop_api/tag.html", {"tag": name, "operations": found, "tags": _tags()})


@page(None, "GET")
def problem_list(request: HttpRequest) -> HttpResponse:
    known = {code: (status, title) for code, (status, title) in problems.KINDS.items()}
    for code, entry in _refusals().items():
        general = problems.KINDS[problems.BY_STATUS[entry["status"]]][1]
        known.setdefault(code, (entry["status"], (entry["says"] or [general])[0]))
    rows = sorted((status, code, title) for code, (status, title) in known.items())
    return render(request, "shop_api/problems.html", {"rows": rows})


@page(None, "GET")
def problem(request: HttpRequest, code: str) -> HttpResponse:
    entry = _refusals().get(code, {"says": [], "rooms": []})
    if code in problems.KINDS:
        status, title = problems.KINDS[code]
    elif entry["says"] or entry["rooms"]:
        status, title = entry["status"], problems.KINDS[problems.BY_STATUS[entry["status"]]][1]
    else:
        raise Http404
    general = code if code in problems.WHAT_TO_DO else problems.BY_STATUS[status]
    context = {"code": code, "status": status, "title": title, "advice": problems.WHAT_TO_DO[general], **entry}
    return render(request, "shop_api/problem.html", context | {"status": status})
