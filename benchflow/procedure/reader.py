"""Text to procedure, or everything that is wrong with it at once.

The text becomes a tree (:mod:`.source`), the tree is read by the shapes (:mod:`.procedure_keys` and what it is made
of), and what was read is held against itself: every name against those that are given (:mod:`.names`), every joint
against its stages, every formula against its units (:mod:`.value_checks`).
"""

import re

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.checks.instrument_checks import check_instruments
from benchflow.procedure.checks.name_checks import NameTable, check_unique
from benchflow.procedure.keys.procedure_keys import PROCEDURE, UnnumberedProcedure, UnnumberedSection
from benchflow.procedure.keys.setup_keys import read_places
from benchflow.procedure.keys.tightening_keys import check_tighten
from benchflow.procedure.model import DecisionRule, Mark, Operation, Procedure, Section
from benchflow.procedure.problems import Problem
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode
from benchflow.procedure.yaml_source.yaml_reader import decode, parse


class ReadResult(Struct, frozen=True):
    """``procedure`` is ``None`` when a problem is an error; ``problems`` are in the order of the file."""

    procedure: Procedure | None
    problems: tuple[Problem, ...]


def read_bytes(data: bytes, file: str) -> ReadResult:
    """Read a file's bytes; ``file`` is its name for messages."""
    text, problems = decode(data, file)
    return ReadResult(None, problems.listed(None)) if text is None else read(text, file)


def read(text: str, file: str = "procedure") -> ReadResult:
    """Read a procedure's text. Never raises for anything that can stand in a file."""
    source = parse(text, file)
    problems = source.problems
    if source.root is None:
        if not problems.any_error:
            problems.add("empty-file", Mark(1, 1), "the file is empty", "a procedure begins with `benchflow: 1`")
        return ReadResult(None, problems.listed(None))
    if not isinstance(source.root, YamlMapping):
        hint = "a procedure begins with `benchflow: 1`"
        problems.add("wrong-kind", source.root.mark, "a procedure is made of keys with values", hint)
        return ReadResult(None, problems.listed(source.root))
    notes = ReadContext(problems)
    if source.stopped is not None:
        _read_as_far_as(source.stopped, source.root, notes)
        return ReadResult(None, problems.listed(source.root))
    read_places(source.root, notes)
    written = PROCEDURE.read(source.root, notes)
    procedure = None if written is None else _checked(written, notes)
    listed = problems.listed(source.root)
    return ReadResult(None if problems.any_error else procedure, listed)


_CERTAIN = frozenset(
    {
        "alias", "tag", "directive", "control-character", "unseen-character", "too-long", "bad-key", "duplicate-key",
        "unknown-key", "wrong-kind", "empty-value", "bad-name", "bad-number", "not-one-of", "one-too-many",
        "said-twice", "bad-quantity", "wrong-dimension", "disagreeing-units", "bad-layout", "unknown-format",
    }
)  # fmt: skip
"""What is wrong whatever may follow."""


def _read_as_far_as(stopped: Mark, root: YamlNode, notes: ReadContext) -> None:
    """Also report what is wrong above the line where the text stops being YAML, as far as that is certain."""
    PROCEDURE.read(root, notes)
    notes.problems.keep(
        lambda problem: problem.code == "bad-yaml" or (problem.code in _CERTAIN and problem.line < stopped.line)
    )


def _checked(written: UnnumberedProcedure, notes: ReadContext) -> Procedure:
    procedure = _assembled(written)
    names = NameTable(procedure)
    check_unique(written, notes)
    _check_tightening(procedure, notes)
    check_instruments(procedure, notes)
    _check_values(procedure, names, notes)
    names.resolve(notes)
    return procedure


def _check_values(procedure: Procedure, names: NameTable, notes: ReadContext) -> None:
    from benchflow.procedure.checks.value_checks import Precedence, ValueChecks

    sections = {section.id: section.operations for section in procedure.sections}
    ValueChecks(procedure.operations, names, Precedence(procedure.operations, sections), notes).run()


def _check_tightening(procedure: Procedure, notes: ReadContext) -> None:
    joints = {joint.id: joint for joint in procedure.joints}
    for operation in procedure.operations:
        if operation.tighten is not None and operation.tighten.joint in joints:
            joint = joints[operation.tighten.joint]
            if joint.count:
                check_tighten(operation.tighten, joint, notes)


# --- putting it together ----------------------------------------------------------------------------


def _assembled(written: UnnumberedProcedure) -> Procedure:
    """Sections named, operations numbered through, the decision rule of the procedure where a value has none."""
    taken = {operation.id for section in written.sections for operation in section.operations}
    taken |= {section.id for section in written.sections if section.id}
    sections: list[Section] = []
    operations: list[Operation] = []
    for number, section in enumerate(written.sections, start=1):
        ident = section.id or _section_id(section, number, taken)
        for operation in section.operations:
            operations.append(_placed(operation, ident, len(operations) + 1, written.procedure.decision))
        ids = tuple(operation.id for operation in section.operations)
        sections.append(Section(ident, section.title or f"Section {number}", ids, section.mark))
    return replace(written.procedure, sections=tuple(sections), operations=tuple(operations))


def _section_id(section: UnnumberedSection, number: int, taken: set[str]) -> str:
    """A name made from the title: lower case, dashes; told apart by a number where it is taken."""
    slug = re.sub(r"[^a-z0-9]+", "-", section.title.lower()).strip("-") or f"section-{number}"
    ident, again = slug, 2
    while ident in taken:
        ident, again = f"{slug}-{again}", again + 1
    taken.add(ident)
    return ident


def _placed(operation: Operation, section: str, number: int, decision: DecisionRule) -> Operation:
    return replace(
        operation,
        section=section,
        number=number,
        record=tuple(value if value.decision else replace(value, decision=decision) for value in operation.record),
        work_out=tuple(value if value.decision else replace(value, decision=decision) for value in operation.work_out),
    )
