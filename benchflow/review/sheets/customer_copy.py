"""The content of the customer's copy of the build sheet: one or two pages, in plain words.

It has no suspicions, no ranking, no other jobs and no results of PINs.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.model import Caution
from benchflow.procedure.plan import Step
from benchflow.review.formatting import local_day, local_time_with_zone
from benchflow.review.log.loaded_log import SIMULATED_NOTE, LoadedLog
from benchflow.review.sheets.fitted_parts import CUSTOMER, PartOnAssembly, fitted_parts, place_title
from benchflow.review.sheets.joint_on_sheet import SheetJoint, joint_of
from benchflow.review.sheets.key_readings import KeyReading, key_readings
from benchflow.review.sheets.letterhead import NO_LETTERHEAD, LetterheadOnSheet
from benchflow.review.sheets.pictures_on_sheet import MOST_FOR_CUSTOMER, SheetPicture
from benchflow.review.sheets.plain_deviations import (
    operation_titles,
    plain_deviations,
    plain_repairs,
    steps_left,
    unfinished_words,
)
from benchflow.review.sheets.sheet_content import NOT_THE_MANUAL, SheetFollowUp
from benchflow.review.sheets.sources_on_sheet import source_facts
from benchflow.review.sheets.unit_systems import stage_in_two_units
from benchflow.session.rules.planned_disassembly import trials
from benchflow.session.rules.stage_torques import tighten_in_force

if TYPE_CHECKING:
    from benchflow.review.sheets.sheet_content import BuildSheet


MOST_OWN_RESULTS = 6
"""Up to this many results of single fasteners are listed beside the picture of a joint. More are in the picture."""


class CustomerJoint(Struct, frozen=True):
    """A joint as it was tightened, ``times`` times: at several places, or in several operations.

    ``where`` has the places, or the operations if another entry has the same title. ``own`` are the results of the
    fasteners that differ from the others: ``Fastener 3: 95 N·m LOW``. Of more than :data:`MOST_OWN_RESULTS`, each is
    in the picture.
    """

    title: str
    where: str
    about: str
    stages: tuple[str, ...]
    picture: SheetJoint
    times: int
    own: tuple[str, ...] = ()


class CustomerCopy(Struct, frozen=True):
    """The customer's copy. ``facts`` are pairs of label and text; ``head`` is the fingerprint of the log.

    ``unfinished`` has the sentences for the top of the copy of a job that is not finished, and ``done`` its operations
    that are done; both are empty for a finished job. ``unusual`` is true if the review suspects anything, or the log
    has a warning. Then this copy never says that there are no deviations.
    """

    letterhead: LetterheadOnSheet
    title: str
    subject: str
    unit: str
    simulated: bool
    notice: str
    facts: tuple[tuple[str, str], ...]
    sound: bool
    damage: str
    unfinished: tuple[str, ...]
    done: tuple[str, ...]
    fitted: tuple[PartOnAssembly, ...]
    supplied: tuple[PartOnAssembly, ...]  # by the customer
    elsewhere: tuple[str, ...]
    readings: tuple[KeyReading, ...]
    joints: tuple[CustomerJoint, ...]
    deviations: tuple[str, ...]
    repairs: tuple[str, ...]
    not_done: tuple[str, ...]
    unusual: bool
    handover: tuple[tuple[str, str], ...]
    cautions: tuple[Caution, ...]
    follow_up: tuple[SheetFollowUp, ...]
    events: int
    head: str
    disclaimer: str
    pictures: tuple[SheetPicture, ...] = ()  # at most :data:`MOST_FOR_CUSTOMER`
    more_pictures: int = 0


def customer_copy(log: LoadedLog, sheet: "BuildSheet", letterhead: LetterheadOnSheet = NO_LETTERHEAD) -> CustomerCopy:
    """The customer's copy of the build sheet ``sheet``, which is the shop's copy of the same log."""
    fitted, left, unfinished = fitted_parts(log), steps_left(log), unfinished_words(log)
    finished = not unfinished and log.damage is None
    return CustomerCopy(
        letterhead=letterhead,
        title=sheet.title,
        subject=sheet.subject,
        unit=sheet.unit,
        simulated=sheet.simulated,
        notice=sheet.notice,
        facts=tuple(_facts(log)),
        sound=sheet.sound,
        damage="" if sheet.sound else _DAMAGED,
        unfinished=unfinished,
        done=tuple(operation_titles(log, _steps_done(log))) if left else (),
        fitted=tuple(part for part in fitted if part.supplier != CUSTOMER),
        supplied=tuple(part for part in fitted if part.supplier == CUSTOMER),
        elsewhere=sheet.elsewhere,
        readings=key_readings(log),
        joints=tuple(_joints(log)),
        deviations=tuple(plain_deviations(log)),
        repairs=tuple(plain_repairs(log)),
        not_done=tuple(operation_titles(log, left)),
        unusual=sheet.suspects or bool(set(sheet.warnings) - {SIMULATED_NOTE}),
        handover=sheet.handover if finished else (),
        cautions=sheet.cautions,
        follow_up=sheet.follow_up if finished else (),
        events=sheet.events,
        head=sheet.head,
        disclaimer=NOT_THE_MANUAL,
        pictures=sheet.pictures[:MOST_FOR_CUSTOMER],
        more_pictures=max(len(sheet.pictures) - MOST_FOR_CUSTOMER, 0),
    )


def customer_copy_without_start(sheet: "BuildSheet", letterhead: LetterheadOnSheet = NO_LETTERHEAD) -> CustomerCopy:
    """The customer's copy of a log whose first line is damaged: only that nothing is known."""
    return CustomerCopy(
        letterhead=letterhead, title=sheet.title, subject="", unit=sheet.unit, simulated=False, notice="", facts=(),
        sound=False, damage=_DAMAGED, unfinished=(), done=(), fitted=(), supplied=(), elsewhere=(), readings=(),
        joints=(), deviations=(), repairs=(), not_done=(), unusual=True, handover=(), cautions=(), follow_up=(),
        events=0, head=sheet.head, disclaimer=NOT_THE_MANUAL,
    )  # fmt: skip


_DAMAGED = (
    "THE LOG OF THIS JOB IS DAMAGED. This sheet has only what was recorded before the damage. The rest is not known."
)


def _facts(log: LoadedLog) -> Iterator[tuple[str, str]]:
    session = log.facts.session
    for option in log.procedure.options:
        if option.name in session.options and not _is_supplier(log, option.name):
            yield option.ask or option.name, session.options[option.name]
    yield "Begun", local_day(session.opened_at)
    if steps_left(log):
        yield "Finished", "no"
    elif session.closed_at is not None:
        yield "Finished", local_time_with_zone(session.closed_at)
    else:
        yield "Finished", "not yet" if log.damage is None else "not known"
    yield "Built by", ", ".join(_builders(log))
    checkers = dict.fromkeys(s.by for s in log.facts.signatures if s.in_force and not s.self_signed)
    if checkers:
        yield "Checked by", ", ".join(checkers)
    yield "Procedure", f"{log.procedure.id}, revision {log.procedure.revision}"
    yield from source_facts(log.procedure, "Numbers from")


def _steps_done(log: LoadedLog) -> tuple[Step, ...]:
    return tuple(step for step in log.plan.steps.values() if step.id in log.finished)


def _is_supplier(log: LoadedLog, option: str) -> bool:
    """True for an option that only says who supplies a part; the part is listed under its supplier."""
    return any(item.supplier_option == option for item in log.procedure.kit)


def _builders(log: LoadedLog) -> tuple[str, ...]:
    people = dict.fromkeys(name for fact in log.facts.operations for name in (*fact.people, fact.by) if name)
    return tuple(people) or (log.facts.session.by,)


# --- joints -----------------------------------------------------------------------------------------


class _TightenedJoint(Struct):
    """A joint with the steps that tightened it in the same way, and the stages of each."""

    joint: SheetJoint
    steps: list[Step] = []
    stages: list[str] = []


def _joints(log: LoadedLog) -> Iterator[CustomerJoint]:
    """The joints of finished operations, the largest first.

    Steps that tightened a joint with the same lubricant are one entry, unless the fasteners have results of their own.
    """
    entries: dict[tuple[str, str, tuple[str, ...]], _TightenedJoint] = {}
    apart = trials(log.state)
    for step in log.plan.steps.values():
        if step.id not in log.finished or step.id in apart:
            continue
        joint, tighten = joint_of(log, step), tighten_in_force(log.state, step)
        if joint is None or tighten is None:
            continue
        own = _with_own_texts(joint)
        texts = tuple(f"{cell.text} {cell.status}" for cell in own.fasteners if cell.text or cell.status != "done")
        entry = entries.setdefault((joint.title, joint.about, texts), _TightenedJoint(own))
        entry.steps.append(step)
        entry.stages.append(
            ", then ".join(
                stage_in_two_units(text, stage) for text, stage in zip(joint.stages, tighten.stages, strict=True)
            )
        )
    titles = [title for title, _, _ in entries]
    for entry in sorted(entries.values(), key=lambda one: -len(one.joint.fasteners)):
        yield _customer_joint(entry, several=titles.count(entry.joint.title) > 1)


def _customer_joint(entry: _TightenedJoint, *, several: bool) -> CustomerJoint:
    """The entry on the copy. ``several`` is true if another entry has the same title."""
    picture = entry.joint
    results = tuple(f"Fastener {cell.number}: {cell.text}" for cell in picture.fasteners if cell.text)
    listed = len(results) <= MOST_OWN_RESULTS
    if listed:
        picture = replace(picture, fasteners=tuple(replace(cell, text="") for cell in picture.fasteners))
    return CustomerJoint(
        picture.title, _where(entry, several=several), picture.about, tuple(dict.fromkeys(entry.stages)), picture,
        max(map(entry.stages.count, entry.stages)), results if listed else (),
    )  # fmt: skip


def _where(entry: _TightenedJoint, *, several: bool) -> str:
    """The places of an entry; without places, its operations if ``several`` entries have the same title."""
    places = dict.fromkeys(place for step in entry.steps if (place := place_title(step)))
    return ", ".join(places or (dict.fromkeys(step.title for step in entry.steps) if several else ()))


def _with_own_texts(joint: SheetJoint) -> SheetJoint:
    """The joint with only the texts that differ from the common one."""
    texts = [cell.text for cell in joint.fasteners if cell.status == "done"]
    common = max(texts, key=texts.count, default="")
    cells = tuple(
        replace(cell, text="") if cell.text == common and cell.status == "done" else cell for cell in joint.fasteners
    )
    return replace(joint, fasteners=cells)
