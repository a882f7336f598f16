from jobs.cards import wording


def test_a_change_names_fields_and_values():
    changed = {"promised_on": [None, "2026-12-01"], "mechanic_id": [3, 4], "chargeable": [True, False]}
    said = wording.sentence("card.changed", {"changed": changed})
    assert said == (
        "Changed the promised date from nothing to 2026-12-01, whose it is, whether it is charged from yes to no"
    )
    assert wording.sentence("card.changed", {"changed": {"complaint": ["a" * 50, "b"]}}) == "Changed the complaint"
    assert wording.sentence("card.changed", {"changed": {"complaint": ["a", "b\nc"]}}) == "Changed the complaint"


def test_what_is_missing_is_left_out():
    assert wording.sentence("stage.held", {"waits_for": "parts"}) == "Put on hold for parts"
    assert wording.sentence("gate.signed", {"gate": "{stage.card}", "stage": "x"}) == "Signed “{stage.card}” of x"


def test_an_unknown_verb_still_says_something():
    assert wording.sentence("build-record.printed", {}) == "Build record: printed"
    assert wording.sentence("odd", {}) == "odd"
    assert wording.why({"reason": "Leaks"}) == "Leaks"


def test_every_verb_of_these_rooms_has_its_sentence():
    """What the actions record under a card is found in their source, so that a new verb can't be forgotten."""
    import re
    from pathlib import Path

    import jobs

    root = Path(jobs.__file__).parent
    verbs = set()
    for room in ("cards", "timebook"):
        for path in (root / room / "actions").glob("*.py"):
            verbs |= set(re.findall(r'"((?:card|stage|gate|note|time)\.[a-z-]+)"', path.read_text()))
    verbs -= {"time.own", "time.edit"}  # rights
    assert len(verbs) > 25
    assert verbs <= set(wording.SENTENCES)
