"""What the customer has agreed to, from revisions and answers. Pure.

Each line of a new revision names the line it came from. An answer to the newest line counts; while it is open, the
answer to the line before stands, with the price that was answered. A line that a new revision leaves out is no longer
agreed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Answer:
    """The word on a line of the newest revision: `line` is the one that was answered, None while none was."""

    line: int | None
    accepted: bool


def latest(answers: Iterable[tuple[int, bool]]) -> dict[int, bool]:
    """The last word on each line. `answers`: (line, yes or no), oldest first."""
    return dict(answers)


def standing(
    newest: Iterable[int], replaces: Mapping[int, int | None], answers: Mapping[int, bool]
) -> dict[int, Answer]:
    """For each line of the newest revision what holds for it, by that line."""
    found = {}
    for line in newest:
        answered = next((at for at in family(line, replaces) if at in answers), None)
        found[line] = Answer(answered, answered is not None and answers[answered])
    return found


def family(line: int, replaces: Mapping[int, int | None]) -> list[int]:
    """The line, the one it replaces, the one that one replaces, and so on."""
    found = []
    at: int | None = line
    while at is not None and at not in found:
        found.append(at)
        at = replaces.get(at)
    return found


WORK = frozenset({"labour", "sublet"})
"""Kinds of lines that decide a stage, where it has any."""


def stage_answers(lines: Iterable[tuple[int, int | None, str]], answers: Mapping[int, bool]) -> dict[int, bool]:
    """What the answers mean for stages. `lines`: (line, its stage, its kind).

    A stage goes ahead when one of its labour or sublet lines is accepted (of any of its lines, if it has none such), is
    declined when all of those are, and stays open else.
    """
    deciding: dict[int, list[int]] = {}
    others: dict[int, list[int]] = {}
    for line, stage, kind in lines:
        if stage is not None:
            (deciding if kind in WORK else others).setdefault(stage, []).append(line)
    found = {}
    for stage in deciding | others:
        words = [answers.get(line) for line in deciding.get(stage) or others[stage]]
        if any(words):
            found[stage] = True
        elif all(word is False for word in words):
            found[stage] = False
    return found


Part = tuple[int, int]  # stage, part


def part_answers(lines: Iterable[tuple[Part, Answer]]) -> tuple[set[Part], set[Part]]:
    """(agreed, declined) of the parts that lines are about, by stage: agreed when one of its lines is accepted, declined
    when all of them are; in neither while one is open."""
    words: dict[Part, list[bool | None]] = {}
    for part, answer in lines:
        words.setdefault(part, []).append(None if answer.line is None else answer.accepted)
    yes = {part for part, its in words.items() if any(its)}
    return yes, {part for part, its in words.items() if all(word is False for word in its)}
