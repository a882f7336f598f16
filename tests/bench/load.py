"""Load for the benches: processes that all begin at once and each repeat one thing for some seconds."""

from __future__ import annotations

import multiprocessing
import os
import random
import socket
import statistics
import time
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, TypeVar

CLIENTS = 8
T = TypeVar("T")


@dataclass(frozen=True)
class Run:
    """What came of it: `times` are seconds of each success, sorted."""

    seconds: float
    times: list[float]
    failures: list[str]

    @property
    def rate(self) -> float:
        return len(self.times) / self.seconds

    def at(self, share: float) -> float:
        """Milliseconds within which this share of the successes was done."""
        return self.times[min(len(self.times) - 1, int(len(self.times) * share))] * 1000 if self.times else 0.0


def together(works: list[Callable[[], Callable[[], str]]], seconds: float) -> Run:
    """Run each of `works` in its own process: it is called once to connect, and what it answers is called again and again
    for `seconds`; "" is a success, anything else says what went wrong."""
    context = multiprocessing.get_context("fork")
    gate = context.Barrier(len(works))
    pipes, processes = [], []
    for work in works:
        ours, theirs = context.Pipe(duplex=False)
        process = context.Process(target=_repeat, args=(work, gate, seconds, theirs), daemon=True)
        process.start()
        theirs.close()
        pipes.append(ours)
        processes.append(process)
    found = [pipe.recv() for pipe in pipes]
    for process in processes:
        process.join()
    spent = max(end for _, end, _, _ in found) - min(start for start, _, _, _ in found)
    times = sorted(t for _, _, each, _ in found for t in each)
    return Run(spent, times, [f for *_, each in found for f in each])


def _repeat(work: Callable[[], Callable[[], str]], gate: Any, seconds: float, pipe: Any) -> None:
    random.seed(os.getpid())
    once = work()
    for _ in range(5):  # statements prepared, caches warm
        once()
    times, failures = [], []
    gate.wait()
    started = now = time.perf_counter()
    while now - started < seconds:
        said = once()
        before, now = now, time.perf_counter()
        if said:
            failures.append(said)
        else:
            times.append(now - before)
    pipe.send((started, now, times, failures))
    pipe.close()


def poster(port: int, token: str, path: str, body: Callable[[], bytes]) -> Callable[[], Callable[[], str]]:
    """POST what `body` answers, each time under a new key and over a new connection, as the sync workers serve it."""
    head = (
        f"POST /api/v1/{path} HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {token}\r\n"
        "Content-Type: application/json\r\nConnection: close\r\n"
    )

    def connect() -> Callable[[], str]:
        def once() -> str:
            sent = body()
            key = f"Idempotency-Key: {uuid.uuid4()}\r\nContent-Length: {len(sent)}\r\n\r\n"
            answer = exchange(port, (head + key).encode() + sent)
            return "" if answer.startswith(b"HTTP/1.1 201") else answer.decode(errors="replace")[:2000]

        return once

    return connect


def exchange(port: int, request: bytes) -> bytes:
    """One request over a connection of its own; the whole answer."""
    with socket.create_connection(("127.0.0.1", port), timeout=60) as line:
        line.sendall(request)
        parts = []
        while part := line.recv(65536):
            parts.append(part)
    return b"".join(parts)


def ticks(pids: list[int]) -> float:
    """Seconds of processor time that these processes have used (Linux)."""
    used = 0
    for pid in pids:
        with open(f"/proc/{pid}/stat") as file:
            fields = file.read().rpartition(")")[2].split()
        used += int(fields[11]) + int(fields[12])
    return used / os.sysconf("SC_CLK_TCK")


def pairs(rounds: int, *works: Callable[[], T]) -> Iterator[tuple[T, ...]]:
    """The works in turn, so that what else the machine does meets all of them alike."""
    for _ in range(rounds):
        yield tuple(work() for work in works)


def median(values: list[float]) -> float:
    return statistics.median(values)
