"""Backup into one file and back: the database as of one moment, and the stored photos and files.

The file is a gzipped tar: manifest.json, the database (database.sqlite3, or database.pgdump made by pg_dump), files/.
The secret key is not in it: it is not part of the shop's records, and who steals a backup must not get it too.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import tarfile
import tempfile
from pathlib import Path
from typing import Any, NamedTuple

from django.conf import settings
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from shop.kernel import clock

FORMAT = 1
MANIFEST, SQLITE, POSTGRES, FILES = "manifest.json", "database.sqlite3", "database.pgdump", "files"


class KeepingError(Exception):
    """Backup or restore can't be done; the message says what to do."""


class Made(NamedTuple):
    path: Path
    size: int  # bytes
    files: int


def backup(target: Path) -> Made:
    """Write everything into `target`, which must not exist. People can go on working meanwhile.

    Raises KeepingError; then nothing is left behind.
    """
    target = target.expanduser().absolute()
    if target.exists():
        raise KeepingError(f"{target} exists already. Name a new file.")
    if not target.parent.is_dir():
        raise KeepingError(f"The folder {target.parent} does not exist. Make it first.")
    descriptor, name = tempfile.mkstemp(prefix=target.name, suffix=".part", dir=target.parent)  # mode 0600
    part = Path(name)
    try:
        with tempfile.TemporaryDirectory(dir=settings.DATA) as scratch, os.fdopen(descriptor, "wb") as raw:
            dumped = _dump(Path(scratch))  # before the files: then each file a row names is among them
            with tarfile.open(fileobj=raw, mode="w:gz", compresslevel=1) as tar:
                _add_text(tar, MANIFEST, json.dumps(_manifest(), indent=1))
                tar.add(dumped, dumped.name)
                count = _add_files(tar)
            raw.flush()
            os.fsync(raw.fileno())
        os.link(part, target)  # unlike a rename this never replaces what somebody else made meanwhile
    except OSError as error:
        raise KeepingError(f"{target} can't be written: {error.strerror or error}.") from error
    finally:
        part.unlink(missing_ok=True)
    return Made(target, target.stat().st_size, count)


def restore(source: Path) -> dict[str, Any]:
    """Put a backup into an empty place: this database without tables, this data folder without files. Answers what the
    backup says of itself. Raises KeepingError, with nothing restored."""
    source = source.expanduser().absolute()
    if not source.is_file():
        raise KeepingError(f"There is no file {source}.")
    _refuse_full_place()
    with tempfile.TemporaryDirectory(dir=settings.DATA) as folder:
        scratch = Path(folder)
        manifest = _unpack(source, scratch)
        (_load_postgres if connection.vendor == "postgresql" else _load_sqlite)(scratch)
        files = Path(settings.MEDIA_ROOT)
        if files.exists():
            files.rmdir()
        (scratch / FILES).mkdir(exist_ok=True)
        shutil.move(scratch / FILES, files)
    return manifest


def _manifest() -> dict[str, Any]:
    loader = MigrationLoader(connection)
    return {
        "format": FORMAT,
        "made_at": clock.now().isoformat(),
        "database": connection.vendor,
        "migrations": sorted(f"{app}.{name}" for app, name in loader.applied_migrations),
    }


def _dump(scratch: Path) -> Path:
    if connection.vendor == "sqlite":
        target = scratch / SQLITE
        connection.ensure_connection()
        with sqlite3.connect(target) as copy:
            # in one step: a reader's snapshot of the WAL, so that nobody who writes has to wait
            connection.connection.backup(copy, pages=-1)
        copy.close()
        return target
    target = scratch / POSTGRES
    _client("pg_dump", "--format=custom", "--no-owner", "--no-privileges", f"--file={target}", database=True)
    return target


def _add_text(tar: tarfile.TarFile, name: str, text: str) -> None:
    import io

    raw = text.encode()
    info = tarfile.TarInfo(name)
    info.size, info.mode, info.mtime = len(raw), 0o600, int(clock.now().timestamp())
    tar.addfile(info, io.BytesIO(raw))


def _add_files(tar: tarfile.TarFile) -> int:
    root, count = Path(settings.MEDIA_ROOT), 0
    for path in sorted(root.rglob("*")) if root.is_dir() else ():
        if path.is_file() and not path.is_symlink():
            tar.add(path, f"{FILES}/{path.relative_to(root)}")
            count += 1
    return count


def _refuse_full_place() -> None:
    from django.db import DatabaseError

    try:
        tables = connection.introspection.table_names()
    except DatabaseError as error:
        raise KeepingError(f"The database can't be reached: {str(error).strip()}") from error
    if tables:
        raise KeepingError(
            "The database is not empty. A backup is only restored into an empty place: name another TALLYBENCH_DATA "
            "folder, or an empty database in DATABASE_URL."
        )
    files = Path(settings.MEDIA_ROOT)
    if files.is_dir() and any(files.iterdir()):
        raise KeepingError(f"The folder {files} is not empty. Name another TALLYBENCH_DATA folder.")


def _unpack(source: Path, scratch: Path) -> dict[str, Any]:
    wanted = POSTGRES if connection.vendor == "postgresql" else SQLITE
    try:
        with tarfile.open(source, "r:gz") as tar:
            first = tar.next()
            if first is None or first.name != MANIFEST:
                raise KeepingError(f"{source} is not a backup of Tallybench.")
            told = tar.extractfile(first)
            manifest = json.loads(told.read()) if told else {}
            _check(manifest)
            tar.extractall(scratch, filter="data")
    except (tarfile.TarError, EOFError, OSError, ValueError) as error:
        raise KeepingError(f"{source} is damaged or not a backup of Tallybench ({error}).") from error
    if not (scratch / wanted).is_file():
        raise KeepingError(f"{source} is damaged: its database is missing.")
    return manifest


def _check(manifest: dict[str, Any]) -> None:
    if manifest.get("format") != FORMAT:
        raise KeepingError("This backup was made by another version of Tallybench. Restore it with that one.")
    if manifest.get("database") != connection.vendor:
        raise KeepingError(
            f"This backup is of {manifest.get('database')}, and the place to restore into is {connection.vendor}. "
            + ("Leave DATABASE_URL out." if connection.vendor == "postgresql" else "Set DATABASE_URL to PostgreSQL.")
        )
    known = {f"{app}.{name}" for app, name in MigrationLoader(None, ignore_no_migrations=True).disk_migrations}
    newer = sorted(set(manifest.get("migrations", ())) - known)
    if newer:
        raise KeepingError(f"This backup is of a newer version of Tallybench (it knows {newer[0]}). Upgrade first.")


def _load_sqlite(scratch: Path) -> None:
    database = Path(settings.DATABASES["default"]["NAME"])
    connection.close()
    for suffix in ("", "-wal", "-shm"):  # of the empty database that was just looked into
        Path(f"{database}{suffix}").unlink(missing_ok=True)
    database.parent.mkdir(parents=True, exist_ok=True)
    shutil.move(scratch / SQLITE, database)


def _load_postgres(scratch: Path) -> None:
    _client(
        "pg_restore", "--no-owner", "--no-privileges", "--exit-on-error", "--single-transaction",
        f"--dbname={connection.settings_dict['NAME']}", str(scratch / POSTGRES),
    )  # fmt: skip


def _client(program: str, *arguments: str, database: bool = False) -> None:
    """Run a PostgreSQL client program against this database; the password goes by the environment, not the command."""
    given = connection.settings_dict
    environment = os.environ | {
        name: str(given[key])
        for name, key in (("PGHOST", "HOST"), ("PGPORT", "PORT"), ("PGUSER", "USER"), ("PGPASSWORD", "PASSWORD"))
        if given.get(key)
    }
    if database:
        environment["PGDATABASE"] = str(given["NAME"])
    try:
        done = subprocess.run(  # noqa: S603 - a fixed program, arguments of our own
            [program, *arguments],
            env=environment,
            text=True,
            capture_output=True,
            check=False,
            stdin=subprocess.DEVNULL,
        )
    except FileNotFoundError as error:
        raise KeepingError(f"{program} is missing. Install PostgreSQL's client (Debian: postgresql-client).") from error
    if done.returncode:
        raise KeepingError(f"{program} failed: {done.stderr.strip()[-1000:]}")
