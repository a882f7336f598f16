"""Writes of attachments. What is kept was checked before (`uploads.inspect`), outside the transaction: decoding a
photo takes a second, and no writer should wait for it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import models

from shop.kernel import clock
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.rights import require
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import kind_of, record

from . import queries
from .models import Attachment
from .subjects import SUBJECTS, find
from .uploads import Checked

MOST = 500
"""Files on one subject."""


@writes
def add_files(
    subject: str, subject_id: int, files: Sequence[Checked], *, by: Person, title: str = ""
) -> list[Attachment]:
    """Keep checked uploads with what they belong to (see `subjects.SUBJECTS`). All or none.

    A file that is already there is not kept twice; the row there is answered. Raises NotFound, BadInput, Refused (code
    "too-many-files"), NotAllowed.
    """
    row = find(subject, subject_id)
    require(by, SUBJECTS[subject].right)
    if not files:
        raise field_error("file", "Choose a file or take a photo.", code="blank")
    title = clean_line(title, field="title", max_length=160)
    root = _root(subject, row)
    there = {a.sha256: a for a in queries.live().filter(subject=subject, subject_id=subject_id)}
    if len(there) + len(files) > MOST:
        raise Refused(
            f"There are already {len(there)} files here; {MOST} is the most. Put away what is no longer needed.",
            code="too-many-files",
        )
    kept = []
    for file in files:
        if file.sha256 not in there:
            there[file.sha256] = _keep(file, row, root, title, by)
        kept.append(there[file.sha256])
    return kept


@writes
def archive_file(pk: int, *, by: Person) -> Attachment:
    """Put a file away: it stays in store and in history and is no longer shown. Raises NotFound."""
    file = queries.live().select_for_update(of=("self",)).filter(pk=pk).first()
    if file is None:
        raise NotFound("There is no such file, or it was put away already.")
    require(by, SUBJECTS[file.subject].right)
    file.archived_at = clock.now()
    file.save(update_fields=["archived_at"])
    record(by, "file.archived", file, root=_history_of(file), name=file.original_name)
    return file


@writes
def show_customer(pk: int, *, by: Person, shown: bool) -> Attachment:
    """Let the customer see a photo by the link that was sent, or no longer. Raises NotFound, Refused (code "no-photo") for
    what is no picture."""
    file = queries.live().select_for_update(of=("self",)).filter(pk=pk).first()
    if file is None:
        raise NotFound("There is no such file, or it was put away already.")
    require(by, SUBJECTS[file.subject].right)
    if file.media_type not in queries.INLINE:
        raise Refused("Only photos are shown with a link. Send other files by mail.", code="no-photo")
    if file.shown_to_customer != shown:
        file.shown_to_customer = shown
        file.save(update_fields=["shown_to_customer"])
        verb = "file.shown" if shown else "file.hidden"
        record(by, verb, file, root=_history_of(file), name=file.original_name)
    return file


@writes
def keep_signature(row: models.Model, file: Checked, title: str, *, root: models.Model) -> Attachment:
    """Keep what a customer drew by finger with the row it signs; its caller has locked the row. It belongs to the row alone,
    not to the card (`root`) in whose history it is told."""
    return _keep(file, row, row, title, None, told=root)


def _keep(
    file: Checked,
    row: models.Model,
    root: models.Model,
    title: str,
    by: Person | None,
    *,
    told: models.Model | None = None,
) -> Attachment:
    attachment = Attachment(
        subject=kind_of(row),
        subject_id=row.pk,
        root=kind_of(root),
        root_id=root.pk,
        title=title,
        original_name=file.original_name,
        media_type=file.media_type,
        size=len(file.data),
        sha256=file.sha256,
        width=file.width,
        height=file.height,
        added_at=clock.now(),
        added_by=by,
    )
    attachment.file.name = stored(file.sha256, file.extension, file.data)
    if file.thumbnail is not None:
        attachment.thumbnail.name = stored(f"{file.sha256}.small", "jpg", file.thumbnail)
    attachment.save(force_insert=True)
    record(by, "file.added", attachment, root=told or root, name=file.original_name, media_type=file.media_type)
    return attachment


@writes
def keep_again(subject: str, subject_id: int, file: Attachment, *, by: Person) -> Attachment:
    """Keep a file that is in store with another subject as well. Raises NotFound, NotAllowed."""
    row = find(subject, subject_id)
    require(by, SUBJECTS[subject].right)
    root = _root(subject, row)
    names = ("title", "original_name", "media_type", "size", "sha256", "width", "height")
    copy = Attachment(
        subject=subject, subject_id=subject_id, root=kind_of(root), root_id=root.pk, added_at=clock.now(), added_by=by,
        **{n: getattr(file, n) for n in names},
    )  # fmt: skip
    copy.file.name, copy.thumbnail.name = file.file.name, file.thumbnail.name
    copy.save(force_insert=True)
    record(by, "file.added", copy, root=root, name=copy.original_name, media_type=copy.media_type)
    return copy


@writes
def keep_document(
    row: models.Model, pdf: bytes, name: str, title: str, *, root: models.Model | None = None
) -> Attachment | None:
    """Keep a document that we made with the row it states; its caller has locked the row. None when it is kept already.

    It belongs to the row alone, not to the card (`root`) in whose history it is told: what it says is for those who may read
    the row.
    """
    kind, digest = kind_of(row), hashlib.sha256(pdf).hexdigest()
    if Attachment.objects.filter(subject=kind, subject_id=row.pk, sha256=digest).exists():
        return None
    file = Attachment(
        subject=kind, subject_id=row.pk, root=kind, root_id=row.pk, title=title, original_name=name,
        media_type="application/pdf", size=len(pdf), sha256=digest, added_at=clock.now(),
    )  # fmt: skip
    file.file.name = stored(digest, "pdf", pdf)
    file.save(force_insert=True)
    record(None, "file.added", file, root=root or row, name=name, media_type="application/pdf")
    return file


def stored(stem: str, extension: str, data: bytes) -> str:
    """Put `data` into the store under a name made of its own digest, and answer the name.

    The name being the content, a retried transaction writes nothing twice and a rolled-back one leaves no double; what
    no row names is found by `manage.py sweep_files`. A shorter file of that name was cut off by a crash: written anew.
    """
    name = f"attachments/{stem[:2]}/{stem}.{extension}"
    if default_storage.exists(name):
        if default_storage.size(name) == len(data):
            return name
        default_storage.delete(name)
    return default_storage.save(name, ContentFile(data))


def _root(subject: str, row: models.Model) -> models.Model:
    field = SUBJECTS[subject].root
    return getattr(row, field) if field else row


def _history_of(file: Attachment) -> models.Model:
    row = find(file.subject, file.subject_id)
    return _root(file.subject, row)
