"""Every write goes through here: one transaction, one writer at a time on SQLite, retried whole when PostgreSQL asks.

`@writes` marks an action. The outermost one opens the transaction; an action called by an action joins it, without a
savepoint, so a refusal anywhere undoes everything. Rows that only need to be there at the end (trail, outbox) are
collected with `before_commit`. What nobody reads back goes by `insert` and `change`: it waits for the next statement of
the write or its commit, and several go in one round trip.
"""

from __future__ import annotations

import functools
import random
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from typing import Any, ParamSpec, TypeVar

from django.db import DatabaseError, IntegrityError, OperationalError, connection, models, transaction

from .errors import Refused
from .holding import Held

P = ParamSpec("P")
T = TypeVar("T")

ATTEMPTS = 6
_RETRY_STATES = {"40001", "40P01"}  # serialization failure, deadlock (PostgreSQL)
_sqlite_writer = threading.RLock()


class _State(threading.local):
    def __init__(self) -> None:
        self.depth = 0
        self.pending: dict[Callable[[list[Any]], object], list[Any]] = {}
        self.held = Held()


_state = _State()


def in_write() -> bool:
    """True inside a write."""
    return _state.depth > 0


def before_commit(flush: Callable[[list[Any]], object], item: Any) -> None:
    """Hand `item` to `flush` with all others of this write, just before its commit. Only inside a write."""
    if not _state.depth:
        raise RuntimeError("before_commit outside a write: call it from an action marked @writes")
    _state.pending.setdefault(flush, []).append(item)


def insert(rows: Sequence[models.Model]) -> None:
    """Insert rows of one model by this write's next statement. Rows whose keys somebody needs bring them along (see
    `statements.next_key`). What the database refuses is raised by that next statement. Only inside a write."""
    _held().insert(rows)


def change(
    model: type[models.Model], where: dict[str, Any], *, add: dict[str, Any] | None = None, **values: Any
) -> None:
    """Set `values` of the one row that `where` names, and `add` to what it holds, by this write's next statement. Only
    inside a write."""
    _held().change(model, where, add or {}, values)


def _held() -> Held:
    if not _state.depth:
        raise RuntimeError("nothing is written outside a write: call it from an action marked @writes")
    return _state.held


def attempt(work: Callable[[], T]) -> T:
    """A part of a write that may be refused without the rest (an item of a bulk posting): a savepoint, and what the part
    handed to `before_commit` goes with it. Raises whatever `work` raises. Only inside a write."""
    if not _state.depth:
        raise RuntimeError("attempt outside a write")
    lengths = {flush: len(items) for flush, items in _state.pending.items()}
    try:
        with transaction.atomic():
            return work()
    except BaseException:
        _state.pending = {f: items[: lengths[f]] for f, items in _state.pending.items() if f in lengths}
        raise


def run(work: Callable[[], T]) -> T:
    """Run `work` as one write (see the module). Raises whatever `work` raises, with nothing written."""
    if _state.depth:
        return work()
    for attempt in range(1, ATTEMPTS + 1):
        try:
            return _once(work)
        except DatabaseError as error:
            if attempt == ATTEMPTS or connection.in_atomic_block or not _passing(error):
                if _doubled(error):
                    raise Refused(
                        "Somebody saved the same thing at this moment. Nothing of yours was saved; look at theirs first.",
                        code="saved-meanwhile",
                    ) from error
                raise
            time.sleep(random.uniform(0.005, 0.03) * attempt)  # noqa: S311 - jitter, not a secret
    raise AssertionError("unreachable")


def writes(action: Callable[P, T]) -> Callable[P, T]:
    """Decorator: the function is one write."""

    @functools.wraps(action)
    def wrapper(*args: P.args, **kwargs: P.kwargs) -> T:
        return run(lambda: action(*args, **kwargs))

    wrapper.is_action = True  # type: ignore[attr-defined]
    return wrapper


def _once(work: Callable[[], T]) -> T:
    turn = _sqlite_writer if connection.vendor == "sqlite" else nullcontext()
    with turn, transaction.atomic():
        _state.depth, _state.pending = 1, {}
        _state.held.drop()
        try:
            with connection.execute_wrapper(_held_first):
                result = work()
                while _state.pending:
                    batches, _state.pending = _state.pending, {}
                    for flush, items in batches.items():
                        flush(items)
                _state.held.send()
            return result
        finally:
            _state.depth, _state.pending = 0, {}
            _state.held.drop()


def _held_first(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
    """Whoever asks the database sees all that was written before."""
    if _state.held.changes:
        if isinstance(sql, str) and sql.startswith("ROLLBACK TO SAVEPOINT"):
            _state.held.drop()  # a savepoint sends what came before it, so all this came after
        else:
            _state.held.send()
    return execute(sql, params, many, context)


def _doubled(error: DatabaseError) -> bool:
    """A unique constraint spoke: two wrote the same after both had looked."""
    if not isinstance(error, IntegrityError):
        return False
    return getattr(error.__cause__, "sqlstate", None) == "23505" or "UNIQUE constraint failed" in str(error)


def _passing(error: DatabaseError) -> bool:
    if getattr(error.__cause__, "sqlstate", None) in _RETRY_STATES:
        return True
    return isinstance(error, OperationalError) and "database is locked" in str(error)
