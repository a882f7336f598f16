"""Whatever people type, the document is made, in every standard, and the amounts are the ones handed over."""

from __future__ import annotations

import dataclasses
from concurrent.futures import ThreadPoolExecutor

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from shop.documents import shapes as sh
from shop.documents.printable import BOX, BREAK, covered, printable
from tests.documents import samples
from tests.documents.reading import made, text
from tests.documents.test_sheets import EVERY

# A document takes 50 ms: shrinking a failure would take minutes.
NO_SHRINKING = (Phase.explicit, Phase.reuse, Phase.generate)
ODD = st.one_of(
    st.text(max_size=60),
    st.text(alphabet=st.characters(categories=("Cf", "Mn", "Me", "Zs", "Zl", "So", "Cn", "Co", "Cs")), max_size=20),
    st.text(alphabet="#$*_`\\<>@[]{}()=+-/~\"' \n\t\u05d0\u05d1\u0627\u0628\u200d\u202e", max_size=40),
    st.sampled_from(
        ["", " ", "\u200d", "\u0301", "\U0001f1ee\U0001f1ea", "\ufdfa", "a\u0301" * 30, "\u0600\u0601", BREAK]
    ),
)


def spoiled(value, draw):
    """The same data with every text that a person can type replaced."""
    if isinstance(value, tuple):
        return tuple(spoiled(v, draw) for v in value)
    if dataclasses.is_dataclass(value):
        changes = {}
        for field in dataclasses.fields(value):
            old = getattr(value, field.name)
            kind = str(field.type)
            if field.name == "currency":
                continue
            if isinstance(old, str) and kind in ("Text", "Prose"):
                changes[field.name] = draw(ODD)
            elif isinstance(old, tuple) or dataclasses.is_dataclass(old):
                if old and isinstance(old, tuple) and isinstance(old[0], str):
                    changes[field.name] = tuple(draw(ODD) for _ in old)
                else:
                    changes[field.name] = spoiled(old, draw)
        return dataclasses.replace(value, **changes)
    return value


@pytest.mark.parametrize("template", EVERY)
@settings(max_examples=8, deadline=None, phases=NO_SHRINKING, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_text_in_every_field_makes_a_document(template, data):
    standard = data.draw(st.sampled_from(["ua-1", "a-3b"]))
    assert made(template, spoiled(EVERY[template](3), data.draw), standard=standard).startswith(b"%PDF-")


@settings(max_examples=12, deadline=None, phases=NO_SHRINKING)
@given(data=st.data())
def test_any_text_leaves_the_amounts_alone(data):
    invoice = spoiled(samples.invoice(4), data.draw)
    seen = text(made("invoice", invoice))
    for amount in (invoice.totals.net, invoice.totals.vat, invoice.totals.due):
        assert f"{amount:,.2f}" in seen


@settings(max_examples=300)
@given(ODD)
def test_printable_holds_only_what_can_be_printed(value):
    shown = printable(value)
    assert {ord(c) for c in shown} <= covered() | {ord(c) for c in "\u200c\u200d" + BREAK}
    assert "  " not in shown.replace(BREAK, "")
    assert shown == shown.strip()
    assert BOX not in printable("plain text")


def test_threads_share_one_compiler_and_get_their_own_document():
    wanted = {n: made("invoice", samples.invoice(n)) for n in range(6)}
    with ThreadPoolExecutor(6) as pool:
        got = list(pool.map(lambda n: (n % 6, made("invoice", samples.invoice(n % 6))), range(36)))
    assert all(pdf == wanted[n] for n, pdf in got)


def test_a_language_is_one_more_file(tmp_path, monkeypatch):
    from shop.documents import formatting

    for name in ("en", "de"):
        (tmp_path / f"{name}.json").write_text((formatting.STRINGS / f"{name}.json").read_text("utf-8"), "utf-8")
    words = (tmp_path / "en.json").read_text("utf-8").replace('"Invoice"', '"Faktura"').replace("en_GB", "nb_NO")
    (tmp_path / "nb.json").write_text(words, "utf-8")
    monkeypatch.setattr(formatting, "STRINGS", tmp_path)
    formatting.languages.cache_clear()
    try:
        seen = text(made("invoice", samples.invoice(1), "nb"))
    finally:
        formatting.languages.cache_clear()
        formatting.strings.cache_clear()
    assert "Faktura" in seen
    assert "238,00" in seen


def test_own_fonts_are_used_and_their_letters_printed(tmp_path):
    # The shipped Hebrew face alone stands in for a shop's own folder.
    from shop.documents import printable as module

    shipped = module.FONTS / "NotoSansHebrew-Regular.ttf"
    assert 0x05D0 in module.codepoints(shipped.read_bytes())
    assert 0x05D0 not in module.codepoints((module.FONTS / "EBGaramond-Regular.ttf").read_bytes())
    (tmp_path / shipped.name).write_bytes(shipped.read_bytes())
    module.use_fonts([tmp_path])
    try:
        assert module.font_folders() == (module.FONTS, tmp_path)
        assert printable("\u05d0") == "\u05d0"
    finally:
        module.use_fonts([])


def test_shapes_are_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        sh.Bank(iban="x").iban = "y"


@pytest.mark.parametrize("standard", ["ua-1", "a-3b"])
def test_every_emoji_and_their_families_print(standard):
    """All pictographs that the shipped fonts hold, and joined ones, flags and keycaps: no box, and no failed standard."""
    held = [chr(c) for c in sorted(covered()) if c >= 0x1F000]
    joined = [
        "\U0001f469\u200d\U0001f469\u200d\U0001f467",
        "\U0001f1ee\U0001f1ea",
        "1\ufe0f\u20e3",
        "\U0001f44d\U0001f3fd",
    ]
    assert len(held) > 1000
    data = dataclasses.replace(EVERY["invoice"](1), notes=(" ".join(held), " ".join(joined)))
    assert made("invoice", data, standard=standard).startswith(b"%PDF-")
    assert BOX not in printable(" ".join(joined[:2]))
