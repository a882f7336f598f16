"""Files of one subject: the list with its form, adding, putting away, and the bytes themselves."""

from __future__ import annotations

import hashlib
import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme

from shop.kernel.errors import BadInput, NotFound, field_error
from shop.kernel.rights import require
from shop.ui.lists import page_of
from shop.ui.pages import page, press

from . import actions, queries, serving, uploads
from .subjects import SUBJECTS, find

MOST_AT_ONCE = 20


@page("files.read")
def listing(request: HttpRequest, subject: str, subject_id: int) -> HttpResponse:
    row = _subject(request, subject, subject_id)
    rows = queries.attachments(request.user, subject=subject, subject_id=subject_id)  # type: ignore[arg-type]
    shown = page_of(request, rows, ("-id",), size=30)
    context = {
        "subject": subject,
        "subject_id": subject_id,
        "about": str(row),
        "page": shown,
        "items": queries.items(shown.items),
    }
    return render(request, "shop_documents/files.html", context)


@page("files.add", "POST")
def add(request: HttpRequest, subject: str, subject_id: int) -> HttpResponse:
    _subject(request, subject, subject_id)
    back = _back(request, subject, subject_id)
    given = request.FILES.getlist("file")
    # One form can send several photos one after the other: each batch is a posting of its own.
    digest = hashlib.sha256()
    contents: list[tuple[str, bytes]] = []
    for file in given[: MOST_AT_ONCE + 1]:
        raw = file.read()
        digest.update(hashlib.sha256(raw).digest())
        contents.append((file.name or "file", raw))
    _tell_apart(request, digest.hexdigest())
    title = request.POST.get("title", "")[:1000]

    def work() -> Any:
        return actions.add_files(subject, subject_id, checked, title=title, by=request.user)  # type: ignore[arg-type]

    try:
        checked = _checked(contents)
    except BadInput as error:
        refusal = error

        def work() -> Any:
            raise refusal

    done = "File added." if len(given) == 1 else f"{len(given)} files added."
    return press(request, work, to=back, back=back, done=done)


@page("files.archive", "POST")
def archive(request: HttpRequest, pk: int) -> HttpResponse:
    found = queries.attachment(pk, request.user)  # type: ignore[arg-type]
    back = _back(request, found.subject, found.subject_id)
    return press(
        request,
        lambda: actions.archive_file(pk, by=request.user),  # type: ignore[arg-type]
        to=back,
        back=back,
        done="Put away. It stays in the history.",
    )


@page("files.show", "POST")
def show(request: HttpRequest, pk: int) -> HttpResponse:
    """A tick at a photo: the customer may see it, or no longer."""
    found = queries.attachment(pk, request.user)  # type: ignore[arg-type]
    back = _back(request, found.subject, found.subject_id)
    shown = request.POST.get("shown") == "yes"
    return press(
        request,
        lambda: actions.show_customer(pk, by=request.user, shown=shown),  # type: ignore[arg-type]
        to=back,
        back=back,
        done="The customer sees it by the link." if shown else "The customer no longer sees it.",
    )


@page("files.read")
def content(request: HttpRequest, pk: int) -> Any:
    return serving.content(request, queries.attachment(pk, request.user))  # type: ignore[arg-type]


@page("files.read")
def thumbnail(request: HttpRequest, pk: int) -> Any:
    return serving.content(request, queries.attachment(pk, request.user), small=True)  # type: ignore[arg-type]


def _subject(request: HttpRequest, subject: str, subject_id: int) -> Any:
    """The row, if it is there and this person may read it."""
    if subject not in SUBJECTS:
        raise NotFound("There is nothing at this address, or it is not for you.")
    require(request.user, SUBJECTS[subject].right)
    return find(subject, subject_id)


def _checked(contents: list[tuple[str, bytes]]) -> list[uploads.Checked]:
    if len(contents) > MOST_AT_ONCE:
        raise field_error("file", f"At most {MOST_AT_ONCE} files can be sent at once.", code="too-many-files")
    checked = []
    for name, raw in contents:
        try:
            checked.append(uploads.inspect(name, raw))
        except BadInput as error:
            if len(contents) == 1:
                raise
            raise field_error("file", f"“{name[-60:]}”: {error.message} None of the files was kept.") from error
    return checked


def _tell_apart(request: HttpRequest, digest: str) -> None:
    posted = request.POST.copy()
    try:
        posted["once"] = str(uuid.uuid5(uuid.UUID(posted.get("once", "")), digest))
    except ValueError:
        posted["once"] = ""
    request.POST = posted  # type: ignore[assignment]


def _back(request: HttpRequest, subject: str, subject_id: int) -> str:
    target = request.POST.get("next", "")
    if target and url_has_allowed_host_and_scheme(target, allowed_hosts=None) and target.startswith("/"):
        return target
    return reverse("documents:files", args=[subject, subject_id])
