"""QR codes and Code 128 as SVG outlines made of numbers only, so that nothing typed by anybody reaches the
markup.
"""

from __future__ import annotations

from collections.abc import Sequence

import segno
from barcode.codex import Code128


def qr_svg(text: str) -> str:
    """QR code (ISO/IEC 18004, error correction M, quiet zone of 4 modules) of `text` as SVG."""
    code = segno.make(text, error="m", micro=False, boost_error=False)
    rows = [tuple(row) for row in code.matrix_iter(scale=1, border=4)]
    return _svg(len(rows[0]), len(rows), "".join(_runs(row, y) for y, row in enumerate(rows)))


def code128_svg(text: str) -> tuple[str, int]:
    """Code 128 (ISO/IEC 15417, quiet zones of 10 modules) of printable ASCII `text` as SVG, one unit high, and
    how many modules wide it is. The height is stretched by whoever places it.
    """
    modules = [0] * 10 + [int(bit) for bit in Code128(text).build()[0]] + [0] * 10
    return _svg(len(modules), 1, _runs(modules, 0)), len(modules)


def _runs(row: Sequence[int], y: int) -> str:
    path, x, width = [], 0, len(row)
    while x < width:
        if row[x]:
            start = x
            while x < width and row[x]:
                x += 1
            path.append(f"M{start} {y}h{x - start}v1h-{x - start}z")
        else:
            x += 1
    return "".join(path)


def _svg(width: int, height: int, path: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" preserveAspectRatio="none" shape-rendering="crispEdges">'
        f'<path d="{path}"/></svg>'
    )
