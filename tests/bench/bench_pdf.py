"""Times of typesetting: cold, warm, by number of lines, against an empty page of the same compiler.

Run: python -m tests.bench.bench_pdf
"""

from __future__ import annotations

import resource
import statistics
import time

import typst

from shop.documents import typesetting
from tests.documents import samples, samples_sheets


def timed(work, rounds: int) -> float:
    """Median milliseconds."""
    times = []
    for _ in range(rounds):
        started = time.perf_counter()
        work()
        times.append((time.perf_counter() - started) * 1000)
    return statistics.median(times)


def main() -> None:
    # A note that differs each round, so that nothing is answered from the compiler's cache of whole documents.
    counter = iter(range(10**9))

    def work(template, build, lines, standard="ua-1"):
        data = build(lines, notes=(f"round {next(counter)}",))
        return typesetting.typeset(template, data, timestamp=samples.AT, standard=standard)

    started = time.perf_counter()
    work("invoice", samples.invoice, 1)
    print(f"first document of a process (fonts read) {(time.perf_counter() - started) * 1000:8.0f} ms")

    bare = typst.Compiler(ignore_system_fonts=True)
    limit = timed(lambda: bare.compile(b"#sys.inputs.n", format="pdf", sys_inputs={"n": str(next(counter))}), 30)
    print(f"limit: one word on one page, bare typst {limit:7.2f} ms")
    # before the large ones, whose memory the process would only hand out again
    for lines, rounds in ((12, 200), (300, 30)):
        for _ in range(12 if lines < 300 else 1):
            work("invoice", samples.invoice, lines)
        before = resident()
        for _ in range(rounds):
            work("invoice", samples.invoice, lines)
        print(
            f"memory after documents of {lines:5} lines: {before:6.0f} MB, {rounds} more {resident() - before:+6.1f} MB"
        )
    for lines, rounds in ((1, 30), (12, 30), (300, 8), (3000, 2), (10_000, 1)):
        for standard in ("ua-1", "a-3b") if lines <= 300 else ("ua-1",):
            pdf = work("invoice", samples.invoice, lines, standard)
            median = timed(lambda n=lines, s=standard: work("invoice", samples.invoice, n, s), rounds)
            print(
                f"invoice {lines:6} lines {standard:5} {median:9.1f} ms  {len(pdf) / 1024:9.0f} kB"
                f"  {median / max(lines, 1):7.2f} ms a line  {median / limit:8.1f} x limit"
            )
    for template, build, rows in (
        ("job_card", lambda n, **kw: samples_sheets.job_card(n, n, **kw), 12),
        ("build_record", samples_sheets.build_record, 30),
        ("picking_list", samples_sheets.picking_list, 30),
    ):
        print(f"{template:14} {rows:4} rows {timed(lambda t=template, b=build, r=rows: work(t, b, r), 10):9.1f} ms")
    labels = samples_sheets.labels(240)
    spent = timed(lambda: typesetting.typeset("labels", labels, timestamp=samples.AT), 3)
    print(f"labels          240      {spent:9.1f} ms")


def resident() -> float:
    """Megabytes this process holds now (Linux)."""
    with open("/proc/self/statm") as statm:
        return int(statm.read().split()[1]) * resource.getpagesize() / 1e6


if __name__ == "__main__":
    main()
