"""Hazard statements with their pictograms and signal words, as the GHS has them.

Source: UN GHS, tenth revised edition, annexes 1 to 3, by the code list of the US NIH's PubChem (pubchem.ncbi.nlm.nih.gov/ghs/);
precedence of pictograms: GHS 1.4.10.5.3.1 and Regulation (EC) 1272/2008, article 26.
"""

from __future__ import annotations

import pytest

from inventory.parts import ghs
from inventory.parts.ghs_codes import HAZARDS, PRECAUTIONS
from shop.kernel.errors import BadInput

PUBLISHED = {
    "H222": ("GHS02", "Danger"), "H223": ("GHS02", "Warning"), "H224": ("GHS02", "Danger"), "H225": ("GHS02", "Danger"),
    "H226": ("GHS02", "Warning"), "H270": ("GHS03", "Danger"), "H280": ("GHS04", "Warning"), "H290": ("GHS05", "Warning"),
    "H300": ("GHS06", "Danger"), "H302": ("GHS07", "Warning"), "H304": ("GHS08", "Danger"), "H314": ("GHS05", "Danger"),
    "H315": ("GHS07", "Warning"), "H317": ("GHS07", "Warning"), "H318": ("GHS05", "Danger"), "H319": ("GHS07", "Warning"),
    "H332": ("GHS07", "Warning"), "H334": ("GHS08", "Danger"), "H335": ("GHS07", "Warning"), "H336": ("GHS07", "Warning"),
    "H340": ("GHS08", "Danger"), "H341": ("GHS08", "Warning"), "H350": ("GHS08", "Danger"), "H351": ("GHS08", "Warning"),
    "H360": ("GHS08", "Danger"), "H373": ("GHS08", "Warning"), "H400": ("GHS09", "Warning"), "H410": ("GHS09", "Warning"),
    "H411": ("GHS09", ""), "H412": ("", ""), "H303": ("", "Warning"), "H201": ("GHS01", "Danger"),
}  # fmt: skip


@pytest.mark.parametrize("code", PUBLISHED)
def test_each_statement_asks_for_its_pictogram_and_signal_word(code):
    pictogram, signal = PUBLISHED[code]
    label = ghs.read([code])
    assert (label.pictograms, label.signal) == (((pictogram,) if pictogram else ()), signal)


@pytest.mark.parametrize(
    ("codes", "pictograms", "signal"),
    [
        (["H222", "H229"], ("GHS02",), "Danger"),
        (["H225", "H319", "H336"], ("GHS02", "GHS07"), "Danger"),
        (["H301", "H302"], ("GHS06",), "Danger"),  # skull instead of the exclamation mark of acute toxicity ...
        (["H301", "H315"], ("GHS06", "GHS07"), "Danger"),  # ... and of that alone
        (["H314", "H319"], ("GHS05",), "Danger"),  # corrosion instead of that of skin and eye irritation
        (["H290", "H315"], ("GHS05", "GHS07"), "Warning"),  # corrosive to metals says nothing of skin
        (["H334", "H317", "H319"], ("GHS08",), "Danger"),
        (["H334", "H335"], ("GHS07", "GHS08"), "Danger"),
        (["H302+H312"], ("GHS07",), "Warning"),
        (["H411"], ("GHS09",), ""),
    ],
)
def test_what_several_come_to(codes, pictograms, signal):
    label = ghs.read(codes)
    assert (label.pictograms, label.signal) == (pictograms, signal)


def test_sentences():
    assert ghs.read(["H318"]).statements[0].text == "Causes serious eye damage."
    assert ghs.read(["P305+P351+P338"]).precautions[0].text == (
        "If in eyes: rinse cautiously with water for several minutes. Remove contact lenses, if present and easy to do. "
        "Continue rinsing."
    )
    assert ghs.read(["P201+P202"]).precautions[0].text.count(".") == 2  # no sentence of its own: one after the other


def test_only_what_is_on_the_lists():
    assert ghs.check([" h225 ", "P305 + p351 + P338", "H360Fd", "H225"]) == ["H225", "H360Fd", "P305+P351+P338"]
    for wrong in ("H999", "P999", "H225+H999", "EUH066", "H22", "X225", "fire", "H225+P210", ""):
        with pytest.raises(BadInput) as refusal:
            ghs.check([wrong])
        assert (refusal.value.code, list(refusal.value.fields)) == ("bad-hazard", ["hazards"]), wrong
    assert all(ghs.check([code]) == [code] for code in (*HAZARDS, *PRECAUTIONS))
    assert {p for h in HAZARDS.values() for p in h.pictograms} == set(ghs.PICTOGRAMS)
