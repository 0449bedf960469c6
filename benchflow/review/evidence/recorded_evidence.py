"""The recorded evidence for one step: readings, fasteners, checks, lots, signatures, as sentences."""

from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Literal

from msgspec import Struct

from benchflow.ordering.wording import step_title
from benchflow.procedure.plan import Step
from benchflow.review.formatting import count, local_time, margin_text, shown_reading
from benchflow.review.log.continuation_remarks import takeover_text
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.picture_facts import PictureFact
from benchflow.review.log.reading_values import Value, values_of
from benchflow.review.log.remarks import note_shown
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.history.picture_text import picture_subject
from benchflow.session.pictures.stored_pictures import file_remark
from benchflow.session.rules.deviation_subjects import subject_text
from benchflow.session.rules.stage_torques import tighten_in_force
from benchflow.trade.verdict import VERDICT_TEXT


class Evidence(Struct, frozen=True):
    """One piece of evidence as a sentence. ``seq`` is the event that recorded it."""

    kind: Literal[
        "value", "joint", "check", "choice", "lot", "signature", "deviation", "remedy", "note", "picture", "finished"
    ]
    words: str
    seq: int | None = None


def evidence_of(log: LoadedLog, step: Step) -> tuple[Evidence, ...]:
    """All recorded evidence for a step, in the order of the build sheet."""
    return (
        *_value_evidence(log, step),
        *_joint_evidence(log, step),
        *_check_evidence(log, step),
        *_other_evidence(log, step),
        *_finish_evidence(log, step),
    )


def _value_evidence(log: LoadedLog, step: Step) -> Iterator[Evidence]:
    for value in values_of(log, step):
        if value.judged is None and not value.readings:
            continue
        seq = value.readings[-1].seq if value.readings else None
        yield Evidence("value", value_text(value), seq)


def value_text(value: Value) -> str:
    """Return a value with its verdict, limit and margin as text.

    For example ``end-play 0.15 mm, ok, limit 0.10 .. 0.28 mm, 28 % of the band left``.
    """
    figures = ", ".join(shown_reading(r) for r in value.readings)
    if value.calculated:
        figures = value.filled
    verdict = VERDICT_TEXT[value.verdict] or "not judged"
    if value.further:
        figures = f"{value.further} {value.judged_text}"
    parts = [f"{value.ask if value.calculated else value.name} {figures}"]
    if value.limit:
        of_used = f" for used parts (new parts: {value.used})" if value.used else ""
        parts.append(f"{verdict}, limit {value.limit}{of_used}")
        if value.share is not None and value.verdict == "ok" and value.band.two_ended:
            parts.append(margin_text(value.share, value.band, "").replace("  ", " "))
    serials = sorted({serial for r in value.readings for serial, _ in r.tools if serial})
    if serials:
        parts.append(f"with {', '.join(serials)}")
    if value.waived:
        parts.append(f"waived by {value.waived}")
    return ", ".join(parts)


def _joint_evidence(log: LoadedLog, step: Step) -> Iterator[Evidence]:
    tighten = tighten_in_force(log.state, step)
    if tighten is None:
        return
    for number, given in sorted(log.state.work(step.id).figures.items()):
        words = f"{tighten.joint}, stage {number}: torque {given.figure}, source: {given.source}"
        yield Evidence("joint", words, given.seq)
    for fact in log.facts.stages:
        if fact.operation == step.id and fact.in_force:
            stage = tighten.stages[fact.stage - 1].text if fact.stage <= len(tighten.stages) else ""
            tool = fact.serial or fact.instrument
            words = f"{fact.joint}, stage {fact.stage} ({stage}): {count(fact.fasteners, 'fastener')}"
            words += f" with {tool}" if tool else ""
            words += ", entered together" if fact.together else ""
            yield Evidence("joint", f"{words}, {fact.by}, {local_time(fact.last_at)}", fact.seq)
    for failed in log.facts.failed_fasteners:
        if failed.operation == step.id:
            yield Evidence("joint", failed.words, failed.seq)


def _check_evidence(log: LoadedLog, step: Step) -> Iterator[Evidence]:
    work = log.state.work(step.id)
    if work.takeover is not None:
        return  # its checks are in the earlier log
    for number, point in enumerate(step.operation.check, 1):
        word = "checked" if number in work.checks else "answered NO" if number in work.failed else "NOT checked"
        yield Evidence("check", f"{word}: {point.text}")


def _other_evidence(log: LoadedLog, step: Step) -> Iterator[Evidence]:
    facts = log.facts
    for choice in facts.choices:
        if choice.operation == step.id and choice.in_force:
            yield Evidence("choice", f"{choice.name}: {choice.take}", choice.seq)
    for lot in facts.lots:
        if lot.operation == step.id and lot.in_force:
            yield Evidence("lot", f"{lot.consumable}, lot {lot.lot}", lot.seq)
    for remedy in facts.remedies:
        if remedy.operation == step.id:
            yield Evidence("remedy", f"remedy done by {remedy.by}: {remedy.words}", remedy.seq)
    for deviation in facts.deviations:
        if deviation.operation == step.id and deviation.in_force:
            subject = subject_text(deviation.about, partial(step_title, log.plan))
            mark = log.mark_text(deviation.seq)
            words = f"deviation from {subject}, signed by {deviation.by}{mark}: {deviation.reason}"
            yield Evidence("deviation", words, deviation.seq)
    for signature in facts.signatures:
        if signature.operation == step.id and signature.in_force:
            own = ", who did the work" if signature.self_signed else ""
            yield Evidence("signature", f"signed by {signature.by} ({signature.role}){own}", signature.seq)
    for note in facts.notes:
        if note.operation == step.id:
            yield Evidence("note", f"{note.by}{log.mark_text(note.seq)}: {note.text}", note.seq)
    for picture in facts.pictures:
        if picture.operation == step.id and picture.in_force:
            yield Evidence("picture", _picture_words(log, picture), picture.seq)


def _picture_words(log: LoadedLog, picture: PictureFact) -> str:
    """``picture of Head studs, fastener 3: Thread before cleaning (IMG_0012.jpg)``."""
    note = note_shown(log.facts, picture)
    subject = picture_subject(picture.operation, picture.target, LogTitles(log.plan), note)
    caption = f": {picture.text}" if picture.text else ""
    remark = file_remark(Path(log.path), picture.file)
    ending = f"; {remark}, run benchflow verify" if remark else ""
    return f"picture of {subject}{caption} ({picture.name}, {picture.by}, {local_time(picture.at)}{ending})"


def _finish_evidence(log: LoadedLog, step: Step) -> Iterator[Evidence]:
    done = log.state.done.get(step.id)
    takeover = log.state.work(step.id).takeover
    if takeover is not None:
        yield Evidence("finished", takeover_text(log.state, step.id), takeover.seq)
    elif done is not None:
        fact = next(fact for fact in log.facts.operations if fact.operation == step.id)
        yield Evidence("finished", f"finished by {fact.by}, {local_time(done.at)}", done.seq)
