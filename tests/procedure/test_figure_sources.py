"""The keys `documents` and `source`: which source each figure has, and what `check` says about them.

The rules are those of `procedure-format.md`, "Where a number comes from". All figures are invented.
"""

import pytest

from benchflow.procedure.checks.unused_names import check_structure
from benchflow.procedure.figure_sources import parse_source, source_of
from benchflow.procedure.model import Procedure
from benchflow.procedure.problems import Problem
from benchflow.procedure.procedure_figures import figures_of
from benchflow.procedure.reader import read

DOCUMENTS = """documents:
  manual: {title: Workshop manual, edition: "3", date: 2024-05-01}
  bulletin: {title: Stud supplier's sheet, edition: "2025-02"}
"""

TRIAL = """benchflow: 1
id: trial
title: A trial
{top}joints:
  head-nuts: {{pattern: star 4, nut-factor: 0.15, source: bulletin p. 1}}
  cover: {{pattern: star 4}}
instruments: {{gauge: {{kind: length, covers: 0 .. 10 mm, source: shop list}}}}
kit: {{consumables: {{sealant: {{title: Sealant, life: 30 d, source: tube}}}}}}
interference: []
sections:
  - title: All
    operations:
      - id: first
        title: First
        record:
          gap: {{unit: mm, limit: 0.10 .. 0.28 mm, with: gauge, source: manual p. 4-21}}
          play:
            {{unit: mm, limit: at most 1 mm, readings: 2, also: [{{judge: spread, limit: at most 0.1 mm}}]}}
          seen: {{unit: mm}}
        work-out:
          sum: {{is: gap + seen, unit: mm, limit: at most 2 mm, source: "own choice, because the shaft is short"}}
        choose:
          gasket:
            {{by: gap, from: [{{at least: 0 mm, up to: 1 mm, take: thin}}, {{take: thick}}], source: manual table 3}}
      - id: second
        title: Second
        uses: [sealant]
        time: {{first: {{limit: at most 10 min, source: tube}}}}
        tighten: {{joint: head-nuts, stages: [by hand, 40 N·m, {{torque: 85 N·m, source: manual p. 5}}, loosen]}}
      - id: third
        title: Third
        tighten: {{joint: cover, stages: [10 N·m, 20 N·m]}}
"""


def procedure(top: str = DOCUMENTS) -> Procedure:
    found = read(TRIAL.format(top=top), "trial.yaml")
    assert found.procedure is not None, found.problems
    return found.procedure


def findings(text: str, code: str) -> list[Problem]:
    found = read(text, "trial.yaml")
    assert found.procedure is not None, found.problems
    return [one for one in check_structure(found.procedure, found.problems, "trial.yaml") if one.code == code]


def shown_sources(of: Procedure) -> dict[str, str | None]:
    return {figure.title: figure.source.shown if figure.source else None for figure in figures_of(of)}


def test_each_owner_of_a_figure_has_its_source() -> None:
    assert shown_sources(procedure()) == {
        "head-nuts": "Stud supplier's sheet, edition 2025-02: p. 1",
        "gauge": "shop list",
        "sealant": "tube",
        "gap": "Workshop manual, edition 3, 2024-05-01: p. 4-21",
        "play": None,
        "play (spread)": None,
        "sum": "own choice, because the shaft is short",
        "gasket": "Workshop manual, edition 3, 2024-05-01: table 3",
        "head-nuts stage 2": "Stud supplier's sheet, edition 2025-02: p. 1",  # that of its joint
        "head-nuts stage 3": "Workshop manual, edition 3, 2024-05-01: p. 5",
        "time since first": "tube",
        "cover stage 1": None,
        "cover stage 2": None,
    }


def test_source_at_the_top_that_begins_with_a_document_counts_for_every_figure() -> None:
    sources = shown_sources(procedure(DOCUMENTS + "source: manual, chapter 4\n"))
    assert sources["play"] == sources["cover stage 1"] == "Workshop manual, edition 3, 2024-05-01: chapter 4"
    assert sources["gap"] == "Workshop manual, edition 3, 2024-05-01: p. 4-21"


def test_text_at_the_top_is_a_remark_beside_documents_and_a_source_without_them() -> None:
    text = "source: Makers' sheets, from memory\n"
    assert shown_sources(procedure(DOCUMENTS + text))["play"] is None
    assert shown_sources(procedure(text))["play"] == "Makers' sheets, from memory"


def test_figures_without_a_source_are_noted_once_with_count_and_first_places() -> None:
    text = TRIAL.format(top=DOCUMENTS)
    (note,) = findings(text, "no-source")
    line = next(number for number, one in enumerate(text.split("\n"), 1) if "play:" in one)
    assert (note.severity, note.line) == ("note", line)
    assert note.message == "3 figures have no source: `play` in `first`, `play (spread)` in `first`, `cover` in `third`"
    assert findings(TRIAL.format(top=DOCUMENTS + "source: manual\n"), "no-source") == []


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("manaul p. 4-21", "Did you mean `manual`?"),
        ("Manual p. 4-21", "Did you mean `manual`?"),
        ("sheet p. 7", "Known names: `manual`, `bulletin`"),
    ],
)
def test_word_that_looks_like_a_document_gets_a_note(text: str, hint: str) -> None:
    (note,) = findings(TRIAL.format(top=DOCUMENTS).replace("manual p. 4-21", text), "unknown-document")
    assert note.severity == "note"
    assert note.hint == hint


@pytest.mark.parametrize("text", ["measured on the old part", "maker, by telephone", "own choice"])
def test_free_text_is_a_source_without_a_note(text: str) -> None:
    trial = TRIAL.format(top=DOCUMENTS).replace("manual p. 4-21", f'"{text}"')
    assert findings(trial, "unknown-document") == []


def test_misspelt_document_at_the_top_gets_a_note() -> None:
    (note,) = findings(TRIAL.format(top=DOCUMENTS + "source: manaul\n"), "unknown-document")
    assert note.where == "source"


def test_document_that_no_source_names_gets_a_note() -> None:
    top = DOCUMENTS + "  card: {title: Cam card}\n"
    assert [note.where for note in findings(TRIAL.format(top=top), "unused")] == ["card"]


def test_document_is_not_unused_while_a_figure_is_to_be_filled_in() -> None:
    text = TRIAL.format(top=DOCUMENTS + "  card: {title: Cam card}\n").replace("limit: at most 1 mm", "limit: ask")
    assert findings(text, "unused") == []


def test_date_that_does_not_exist_is_an_error() -> None:
    found = read(TRIAL.format(top=DOCUMENTS.replace("2024-05-01", "2024-13-01")), "trial.yaml")
    assert [problem.code for problem in found.problems] == ["bad-number"]


@pytest.mark.parametrize(
    ("text", "document", "place"),
    [
        ("manual", "manual", ""),
        ("manual p. 4-21", "manual", "p. 4-21"),
        ("manual, table 3", "manual", "table 3"),
        ("manual: 4", "manual", "4"),
        ("manual-2 p. 1", None, ""),
        ("manuals of the time", None, ""),
    ],
)
def test_document_is_the_whole_first_word(text: str, document: str | None, place: str) -> None:
    found = parse_source(text, procedure())
    assert (found.document.id if found.document else None, found.place) == (document, place)


def test_own_choice_keeps_its_reason() -> None:
    found = source_of(procedure(), "", "Own choice, because the studs are new")
    assert found is not None
    assert (found.own_choice, found.because) == (True, "the studs are new")


def test_figure_that_is_still_to_be_filled_in_needs_no_source_yet() -> None:
    text = TRIAL.format(top=DOCUMENTS).replace("limit: at most 1 mm, readings: 2", "limit: ask, readings: 2")
    (note,) = findings(text, "no-source")
    assert note.message == "2 figures have no source: `play (spread)` in `first`, `cover` in `third`"
