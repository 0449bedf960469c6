"""Reads the text of a procedure: to a procedure, or to all of its problems at once.

The text becomes a tree of nodes (:mod:`~benchflow.procedure.yaml_source.yaml_reader`). The shapes of the keys read the
tree (:mod:`~benchflow.procedure.keys.procedure_keys`). Then the whole procedure is checked: names, tightening stages,
instruments, values and formulas (:mod:`benchflow.procedure.checks`).
"""

from msgspec import Struct

from benchflow.procedure.checks.evidence_checks import check_timed_entries, note_weak_evidence
from benchflow.procedure.checks.finding_checks import check_findings
from benchflow.procedure.checks.instrument_checks import check_instruments
from benchflow.procedure.checks.name_checks import NameTable, check_unique
from benchflow.procedure.checks.remedy_checks import check_kept_ticks
from benchflow.procedure.checks.repetition_checks import check_repetition
from benchflow.procedure.checks.source_checks import check_sources
from benchflow.procedure.checks.tightening_checks import check_tightening
from benchflow.procedure.checks.variant_checks import SameReadings
from benchflow.procedure.complete_procedure import completed
from benchflow.procedure.keys.procedure_keys import PROCEDURE, UnnumberedProcedure
from benchflow.procedure.keys.setup_keys import read_names_for_by
from benchflow.procedure.model import Mark, Procedure
from benchflow.procedure.problems import Problem
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.variants import single_builds
from benchflow.procedure.written_copies import write_out_copies
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, child_of
from benchflow.procedure.yaml_source.yaml_reader import ParsedYaml, ProblemList, decode, parse


class ReadResult(Struct, frozen=True):
    """The result of reading a text.

    ``procedure`` is ``None`` if one of the problems is an error. ``problems`` are in the order of the file.
    """

    procedure: Procedure | None
    problems: tuple[Problem, ...]


def read_bytes(data: bytes, file: str) -> ReadResult:
    """Read the bytes of a file; ``file`` is its name in messages."""
    text, problems = decode(data, file)
    return ReadResult(None, problems.listed(None)) if text is None else read(text, file)


def read(text: str, file: str = "procedure", tree: YamlMapping | None = None) -> ReadResult:
    """Read the text of a procedure; ``file`` is its name in messages. Never raises, whatever the text.

    ``tree`` is the tree of ``text`` if it is known already (from
    :func:`~benchflow.procedure.blocks.tree_writer.write_tree`).
    """
    source = parse(text, file) if tree is None else ParsedYaml(tree, ProblemList(file))
    problems = source.problems
    if source.root is None:
        if not problems.any_error:
            problems.add("empty-file", Mark(1, 1), "The file is empty", "Begin it with `benchflow: 1`")
        return ReadResult(None, problems.listed(None))
    if not isinstance(source.root, YamlMapping):
        hint = "Begin it with `benchflow: 1`"
        problems.add(
            "wrong-kind", source.root.mark, "A procedure is a mapping of keys with values, but this file is not", hint
        )
        return ReadResult(None, problems.listed(source.root))
    if child_of(source.root, "benchflow-block") is not None and child_of(source.root, "benchflow") is None:
        message = "This file is a building block, not a procedure"
        hint = "Use it in a procedure: `- use: ID` among the operations of a section"
        problems.add("wrong-kind", source.root.mark, message, hint)
        return ReadResult(None, problems.listed(source.root))
    context = ReadContext(problems)
    if source.error_at is not None:
        _report_problems_before(source.error_at, source.root, context)
        return ReadResult(None, problems.listed(source.root))
    read_names_for_by(source.root, context)
    write_out_copies(source.root, context)
    written = PROCEDURE.read(source.root, context)
    procedure = None if written is None else _checked(written, context)
    listed = problems.listed(source.root)
    return ReadResult(None if problems.any_error else procedure, listed)


_CERTAIN = frozenset(
    {
        "alias", "tag", "directive", "control-character", "invisible-character", "too-long", "bad-key", "duplicate-key",
        "unknown-key", "wrong-kind", "empty-value", "bad-name", "bad-number", "not-one-of", "one-too-many",
        "duplicate-item", "bad-quantity", "wrong-dimension", "disagreeing-units", "bad-layout", "unknown-format",
    }
)  # fmt: skip
"""Codes of problems that do not depend on what follows in the file."""


def _report_problems_before(error_at: Mark, root: YamlNode, context: ReadContext) -> None:
    """Also report the problems before the line of a syntax error that do not depend on what follows."""
    PROCEDURE.read(root, context)
    context.problems.keep(
        lambda problem: problem.code == "bad-yaml" or (problem.code in _CERTAIN and problem.line < error_at.line)
    )


def _checked(written: UnnumberedProcedure, context: ReadContext) -> Procedure:
    procedure = completed(written, context)
    names = NameTable(procedure)
    check_unique(procedure, written, context)
    nodes, same_readings = context.nodes, SameReadings(context)
    for build, variants in single_builds(procedure):
        context.nodes = dict(nodes) if variants else nodes
        for variant in variants:
            key = variant.operation.mark, tuple(variant.choices.items())
            context.nodes.update(context.variant_nodes.get(key, {}))
        check_tightening(build, context)
        check_instruments(build, context)
        check_timed_entries(build, context)
        check_repetition(build, context)
        check_findings(build, context)
        check_kept_ticks(build, context)
        note_weak_evidence(build, context)
        _check_values(build, context)
        if variants:
            same_readings.compare(build)
    context.nodes = nodes
    names.resolve(context)
    check_sources(procedure, context)
    return procedure


def _check_values(procedure: Procedure, context: ReadContext) -> None:
    from benchflow.procedure.checks.value_checks import ValueChecks

    ValueChecks(procedure, context).run()
