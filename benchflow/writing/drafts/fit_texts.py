"""The texts of an operation that fits a part from a teardown: instruction, checks and how it is undone."""

from msgspec.structs import replace

from benchflow.session.teardown.part_text import fasteners_text
from benchflow.session.teardown.renewed_parts import is_seal, is_used_once
from benchflow.session.teardown.teardown_record import FastenerGroup
from benchflow.writing.drafts.draft_book import plain_text, sentence_case
from benchflow.writing.drafts.line_facts import LineFacts, LoosePart
from benchflow.writing.drafts.part_words import (
    is_closing,
    is_gasket,
    is_oiled,
    is_plural,
    is_set_square,
    is_shell,
    is_shim,
    is_tightened,
    singular,
)
from benchflow.writing.drafts.unit_findings import instruction_words, is_own_mark


def fit_instruction(facts: LineFacts, *, bead: bool, tightens: bool) -> str:
    """The text of `do`: which part, from where, how it is made ready, and the words of the line."""
    described = facts.line.description
    lines = [f"{_bring(facts)}{_made_ready(facts, bead=bead)}"]
    loose = [replace(each, count=facts.at_one_place(each.count)) for each in facts.loose]
    lines += [_loose_instruction(each) for each in loose if each.of_fasteners]
    if described.marks and not facts.all_new and not is_own_mark(described.marks):
        lines.append(f"Marks: {plain_text(described.marks)}.")
    if described.orientation:
        lines.append(f"Orientation: {plain_text(described.orientation)}.")
    if facts.thread_locked and facts.tightened:
        lines.append("Put thread locker on the clean, dry threads.")
    if tightens:
        lines.append(_run_in(facts))
    if words := instruction_words(facts):
        lines.append(f"From the teardown: {'; '.join(words)}.")
    if facts.line.pictures:
        names = [
            f"{plain_text(each.name)}{f' ({plain_text(each.text)})' if each.text else ''}"
            for each in facts.line.pictures
        ]
        lines.append(f"{'Pictures' if names[1:] else 'Picture'} of the teardown: {', '.join(names)}.")
    return "\n".join(lines)


def _run_in(facts: LineFacts) -> str:
    """How the fasteners go in, where the part is fitted and tightened in one operation."""
    if facts.is_own_thread:
        return f"Run {facts.word('it', 'them')} {_onto(facts)} by hand first."
    groups = facts.tightened
    sized = any(group.where or group.length is not None for group in groups)
    listed = f": {'; '.join(plain_text(fasteners_text(group)) for group in groups)}" if sized else ""
    if sum(group.count for group in groups) == 1:
        return f"Run the {groups[0].kind or 'fastener'} in by hand first{listed}."
    return f"Run the fasteners in by hand first{listed}."


def _onto(facts: LineFacts) -> str:
    return "on" if "nut" in facts.what.lower() else "in"


def _bring(facts: LineFacts) -> str:
    """Which part is brought. A new one is not in the bag of the old one."""
    bag = f" from {facts.bag}" if facts.bag else ""
    if facts.all_new:
        held = (
            f" Its fasteners are in {facts.bag}." if facts.bag and facts.tightened and not facts.is_own_thread else ""
        )
        return f"Bring the new {facts.name}.{held}"
    if facts.replaced:
        kept = ", ".join(facts.old_places)
        return f"Bring a new one for {', '.join(facts.replaced)}. Bring the {facts.what} for {kept}{bag}."
    return f"Bring the {facts.name}{bag}."


def _made_ready(facts: LineFacts, *, bead: bool) -> str:
    what = facts.what
    if bead:
        return " Set it straight on the bead. Keep oil off both faces."
    if is_gasket(what):
        return " Both faces are clean and dry."
    if is_seal(what):
        return f" Make the {facts.word('lip or ring', 'lips or rings')} ready as the manual prints."
    if is_shell(what):
        return " Wipe the backs and the bores dry. Oil the running faces."
    if is_closing(what):
        return f" Clean {facts.word('its', 'their')} faces. Keep oil off them."
    if is_oiled(what):
        return f" Oil {facts.word('it where it slides or turns', 'them where they slide or turn')}."
    return ""


def _loose_instruction(loose: LoosePart) -> str:
    kind = loose.title
    noun = kind if loose.count == 1 else f"{kind}s"
    number = "the " if loose.count == 1 else f"{loose.count} "
    verb = "Drive in" if kind.endswith("pin") and loose.is_new else "Fit"
    if loose.is_new:
        number = "a " if loose.count == 1 else number
        noun = f"new {noun}"
    return f"{verb} {number}{noun}{f', {plain_text(loose.detail)}' if loose.detail else ''}."


def fit_checks(facts: LineFacts, state: str, *, bead: bool, tightens: bool) -> list[str]:
    """The checks of the operation. ``state`` is the state of the assembly at this line during the teardown.

    ``bead``: sealant is put on before. ``tightens``: the same operation tightens it.
    """
    described = facts.line.description
    its = facts.word("Its", "Their")
    checks = []
    if described.marks and not facts.all_new and not is_own_mark(described.marks):  # a new part has no marks
        checks.append(f"{its} marks are where they were: {plain_text(described.marks)}")
    if described.orientation:
        checks.append(f"Orientation: {plain_text(described.orientation)}")
    checks += _partner_checks(facts)
    if (is_seal(facts.what) or is_used_once(facts.what)) and not facts.all_new:
        checks.append("The teardown says: use again. Most makers renew it")
    if facts.each:
        checks.append(f"It is at its own place: {{{facts.each}}}")
    elif described.places:
        own = "Each is at its own place" if described.places[1:] else f"{facts.word('It is', 'They are')} in place"
        checks.append(f"{own}: {plain_text(', '.join(described.places))}")
    elif described.count > 1:
        checks.append(f"All {described.count} are fitted")
    if state:
        checks.append(f"Before {facts.word('it is', 'they are')} fitted, as during the teardown: {state}")
    checks += [_loose_check(replace(each, count=facts.at_one_place(each.count))) for each in facts.loose]
    checks += [
        f"{fasteners_text(group)}: {'in the groove all round' if group.kind == 'circlip' else 'seated'}"
        for group in (replace(own, count=facts.at_one_place(own.count)) for own in _own_untightened(facts))
    ]
    if facts.seal_words and not facts.had_no_gasket and not facts.takes_bead and not is_seal(facts.what):
        checks.append("Sealed as the manual prints")
    elif facts.had_no_gasket and not bead:
        checks.append("No gasket was found here. It is sealed as the manual prints: dry, by a ring, or by sealant")
    tightened = [replace(group, count=facts.at_one_place(group.count)) for group in facts.tightened]
    listed = len(tightened) > 1 or any(group.where or group.length is not None for group in tightened)
    if listed and not facts.is_own_thread and not tightens:
        checks += [f"In place, not tightened: {plain_text(fasteners_text(group))}" for group in tightened]
    if is_shim(facts.what):
        checks.append(f"{its} thickness is what the measured float or preload needs")
    elif is_set_square(facts.what) and not facts.tightened:
        checks.append(f"{facts.word('It is', 'They are')} square, and fully home")
    if facts.is_own_thread and not tightens:
        checks.append(f"{facts.word('It runs', 'They run')} {_onto(facts)} by hand, not tightened")
    return checks


def _partner_checks(facts: LineFacts) -> list[str]:
    partners = {part.place: part.partner for part in facts.line.parts if part.partner}
    if facts.all_new:
        return [
            f"{facts.word('It is new, and is', 'They are new, and are')} matched to the partner as the manual prints: "
            f"{plain_text(own)}"
            for own in dict.fromkeys(partners.values())
        ]
    if len(set(partners.values())) == 1 and len(partners) == len(facts.line.parts) and not facts.replaced:
        mate = plain_text(next(iter(partners.values())))
        return [f"{facts.word('It is with its', 'They are with their')} partner: {mate}"]
    return [
        f"{place}: the new one is matched to its partner, {plain_text(own)}"
        if place in facts.replaced
        else f"{place}: it is with its partner, {plain_text(own)}"
        for place, own in partners.items()
    ]


def _loose_check(loose: LoosePart) -> str:
    kind = loose.title if loose.count == 1 or loose.title.endswith("s") else f"{loose.title}s"
    many = loose.count > 1 or is_plural(kind)
    name = f"{f'{loose.count} ' if loose.count > 1 else ''}{'new ' if loose.is_new else ''}{kind}"
    if singular(loose.title).endswith(("circlip", "snap ring")):
        where = "is in its groove all round" if not many else "are in their grooves all round"
    elif is_seal(loose.title) or is_shim(loose.title):
        where = "are in place" if many else "is in place"
    else:
        where = "are seated" if many else "is seated"
    return f"{sentence_case(name) if loose.count > 1 else f'The {name}'} {where}"


def _own_untightened(facts: LineFacts) -> list[FastenerGroup]:
    named = {each.title for each in facts.loose if each.of_fasteners}
    return [group for group in facts.groups if not is_tightened(group.kind, group.thread) and group.kind not in named]


def undo_instruction(facts: LineFacts, *, at_once: bool) -> str:
    """How the operation is undone. A new part does not go into the bag of the old one."""
    out = [replace(each, count=facts.at_one_place(each.count)) for each in facts.loose if each.of_fasteners]
    steps = [
        f"{'Drive' if each.title.endswith('pin') else 'Take'} out the {each.title}{'s' if each.count > 1 else ''}."
        for each in out
    ]
    off = f"{'Unscrew' if at_once and facts.is_own_thread else 'Take off'} the {facts.name}"
    if facts.renewed:
        off += f", and throw {facts.word('it', 'them')} away"
    elif facts.all_new:
        off += f", and keep {facts.word('it', 'them')} apart from the old {facts.word('one', 'ones')}"
    elif facts.bag and not facts.replaced:
        off += f", and keep {facts.word('it', 'them')} in {facts.bag}"
    return " ".join([*steps, off])
