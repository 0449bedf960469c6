"""Explains the findings of ``check``: the meaning of each code, and an example of the correction.

The codes of the reader are explained here. Findings about the order are explained beside their proof, in
:mod:`benchflow.ordering.finding_explanations`.
"""

import re
import textwrap

from benchflow.base.errors import BenchflowError

READER_CODES: dict[str, tuple[str, str]] = {
    "alias": (
        "The file has an anchor, an alias or a merge key of YAML. They are not allowed, because an operation must be "
        "complete where it is read. Write the text out.",
        "do: *as-before           ->  do: Oil the journals and lobes",
    ),
    "bad-formula": (
        "A formula cannot be read, or its result has another unit than the one asked for. Minus needs a space on "
        "each side, because names can contain dashes.",
        "is: bore-journal         ->  is: bore - journal",
    ),
    "bad-key": ("A key must be a plain word, not a list or a mapping.", "[a, b]: text              ->  a: text"),
    "bad-layout": (
        "The order of tightening cannot be read from the layout of the joint. Number the fasteners from 1 in the "
        "order in which they are tightened, each number once. Place the numbers as the fasteners are on the part.",
        "layout: |\n  3 1 2 5                ->  3 1 2 4",
    ),
    "bad-name": (
        "A name has a character that is not allowed. Use only the letters a to z, digits, dashes and underscores. "
        "Do not write square brackets. `each` adds them for its places.",
        "id: Seat cam no. 1       ->  id: seat-cam",
    ),
    "bad-number": (
        "A number is expected. Use a decimal point, not a comma.",
        "nut-factor: 0,15         ->  nut-factor: 0.15",
    ),
    "bad-quantity": (
        "A quantity or a limit cannot be read. A quantity is a number with a unit, and a limit has one or two "
        "quantities. A comma is refused, because it can mean decimals or thousands. A missing unit is never guessed.",
        "limit: 1,5 .. 2          ->  limit: 1.5 .. 2 mm",
    ),
    "bad-yaml": (
        "From this place on, the text is not YAML. Usually the indent is wrong, a bracket or a quote is not closed, or "
        "a text with `: ` in it needs quotes.",
        "title: Note: oil first   ->  title: 'Note: oil first'",
    ),
    "block-conflict": (
        "Two blocks differ where only one is possible: they have the same id in two folders, or they add different "
        "entries of one name to the procedure. Rename one of them. To use your block instead of another one with its "
        "id, write `replaces` in it. An entry in the procedure itself counts before those of blocks.",
        "id: leak-down            ->  id: leak-down\n                             replaces: leak-down",
    ),
    "block-cycle": (
        "A block uses itself, directly or through other blocks, or too many blocks use each other in a chain. Remove "
        "one of the uses.",
        "in a: - use: b, in b: - use: a  ->  in b: the operations themselves",
    ),
    "block-replaced": (
        "A note: a block in your folder is used in place of a block of the same id in another folder, because it says "
        "`replaces`, or because your folder is a copy of the shipped blocks of another version. Delete your file to "
        "use the other one again.",
        "replaces: leak-down",
    ),
    "cannot-prove": (
        "The decision rule is guarded: a value counts only if it is within the limit by more than the uncertainty of "
        "its instrument. That uncertainty is not known, or is too large for the limit. So no reading can be proven, "
        "and the operation needs a deviation. A better instrument from the shop's register also solves it.",
        "limit: at least 0.5 mm   ->  limit: at least 0.5 mm, with: feeler-gauge, or decision: simple",
    ),
    "circular-formula": (
        "A value is calculated from itself, directly or through other values.",
        "gap: {is: gap + shim}    ->  gap: {is: lash + shim}",
    ),
    "control-character": (
        "The file has an invisible character that could control a terminal.",
        "Delete the character. An editor can show it.",
    ),
    "directive": (
        "A line starts with %. Such a line changes how the file is read, and is not allowed.",
        "%YAML 1.1                ->  delete the line",
    ),
    "disagreeing-units": (
        "A value is printed in two units that differ by more than half a step of the last digit of the coarser one. A "
        "whole number that ends in 5 or 0 may also be rounded to 5 or 10, by at most 5 %. One of the two is a "
        "misprint, in this file or in its source. Write `about` before a second value that is only a rough guide.",
        "30 ft-lb (47 N·m)        ->  35 ft-lb (47 N·m), if the source says so",
    ),
    "duplicate-key": (
        "A key occurs twice in the same place. Only one of the two can be used.",
        "Keep one of them.",
    ),
    "duplicate-name": (
        "Two things have the same name. A name must be unique in the procedure, so that the log is unambiguous.",
        "id: fit-cover (twice)    ->  fit-front-cover, fit-rear-cover",
    ),
    "empty-file": ("The file is empty.", "Start the procedure with `benchflow: 1`."),
    "empty-value": ("A key has no value.", "Write the value, or delete the key."),
    "falling-torque": (
        "A stage has a lower torque than the stage before it. The fastener is already tighter, so the wrench clicks "
        "at once and nothing turns.",
        "[40 N·m, 30 N·m]         ->  [40 N·m, loosen 1 turn, 30 N·m]",
    ),
    "gap-in-table": (
        "A table of choices has no row for some values. A reading between two rows would have no answer.",
        "{up to: 0.10 mm}, {above: 0.12 mm}      ->  {up to: 0.10 mm}, {up to: 0.20 mm}",
    ),
    "many-turns": (
        "A stage turns a fastener by more than two turns. Usually a degree sign is missing, or turns are meant where "
        "degrees are written.",
        "[40 N·m, 90 turns]       ->  [40 N·m, +90°]",
    ),
    "missing-because": (
        "An interference rule has no reason. The builder sees the reason when the rule blocks an operation.",
        "because: an open valve would reach the pistons",
    ),
    "missing-key": (
        "A required key is missing.",
        "All keys are in the author's guide: benchflow guide",
    ),
    "missing-title": (
        "There is no title, so the builder sees only the id.",
        "title: Seat the intake cam",
    ),
    "missing-unit": (
        "A value has no unit, so it is read as a plain number. That is correct only for a count.",
        "gap: {ask: Gap}          ->  gap: {ask: Gap, unit: mm}",
    ),
    "never-tightened": (
        "Some fasteners of the joint are in no stage. Every stage is limited to groups without them.",
        "{torque: 90 N·m, only: long}            ->  add a stage for the short ones",
    ),
    "not-covered": (
        "What is written with `by` needs an entry for each choice of the option, or for each place of the set. "
        "`else` is the entry for all choices that have none.",
        "{by: side, intake: 0.20 mm}  ->  {by: side, intake: 0.20 mm, exhaust: 0.30 mm}",
    ),
    "not-one-of": (
        "The value is not one of those allowed here. The finding lists them.",
        "lot: yes                 ->  lot: required",
    ),
    "not-utf-8": ("The file is not UTF-8 text.", "Save the file as UTF-8."),
    "one-too-many": (
        "Two keys exclude each other, because they express the same thing.",
        "layout and pattern       ->  one of them",
    ),
    "overlap-in-table": (
        "Two rows of a table of choices apply to the same value.",
        "{up to: 0.20 mm}, {up to: 0.10 mm}      ->  put the smallest first",
    ),
    "remedy-without-limit": (
        "There is a remedy for readings below (or above) the limit, but the limit has no end on that side. So the "
        "remedy is never needed.",
        "limit: at most 0.05 mm, below: [...]    ->  above: [...]",
    ),
    "never-carried-out": (
        "A remedy is written after one with `stop: true`, or a remedy with `stop: true` says what to redo. A note: a "
        "calculated value cannot leave its limit on that side while its inputs are within theirs.",
        "[{do: Scrap it, stop: true}, {do: Grind it}]  ->  [{do: Grind it}, {do: Scrap it, stop: true}]",
    ),
    "duplicate-item": (
        "A list has the same word twice.",
        "values: [shut, open, shut]              ->  [shut, open]",
    ),
    "several-documents": (
        "A line `---` starts a second document. One file holds one procedure.",
        "Delete the line.",
    ),
    "split-check": (
        "A note: in a list in brackets, a comma begins a new item. So one text with a comma is two checks, and the "
        "builder answers each of them. Put a text with a comma in quotes.",
        'check: [The nuts are on, tapers inward]  ->  check: ["The nuts are on, tapers inward"]',
    ),
    "stage-order": (
        "An angle stage has no torque stage before it. The angle has no defined start without a seating torque.",
        "[+90°, +90°]             ->  [40 N·m, +90°, +90°]",
    ),
    "tag": (
        "The file has a YAML tag. Tags are not allowed, because they change a text into something else.",
        "!!python/... text        ->  text",
    ),
    "too-deep": (
        "Lists and mappings are nested too deeply for a procedure.",
        "Look for a bracket that is not closed.",
    ),
    "too-few": (
        "Readings are compared with each other, but there is only one.",
        "limit: equal within 0.010 in            ->  add `readings: 3`",
    ),
    "too-large": ("The file is too large for a procedure.", "Check that it is the right file."),
    "too-long": ("A text is too long for the bench screen.", "Split the operation into several."),
    "too-many-problems": (
        "There are more problems than are listed.",
        "Correct the first ones. Often others disappear with them.",
    ),
    "total-angle": (
        "The angles of the stages do not add up to the printed total. One of the numbers is a misprint.",
        "[40 N·m, +90°, +90°], total-angle: 200° ->  180°, if the source says so",
    ),
    "other-edition": (
        "A `source` names an edition of its document that is not the one under `documents`. The words are shown as "
        "written, because nobody has looked the figure up in the edition of the procedure.",
        "source: manual ed. 1 p. 4 ->  source: manual p. 4, if edition 2 prints the same figure there",
    ),
    "unknown-document": (
        "A `source` begins with a word that looks like the name of a document, but there is no such document. The "
        "source is read as a text, so no edition is known for its figures.",
        "source: manaul p. 4-21   ->  source: manual p. 4-21",
    ),
    "unknown-format": ("The file is in another version of the format.", "benchflow: 1"),
    "unknown-key": (
        "This key is not allowed here. Usually it is misspelt, or a comma inside {...} starts a new key.",
        "afer: [set-head-down]    ->  after: [set-head-down]",
    ),
    "unknown-name": (
        "A name is used but not defined. It can be the name of an operation, a state variable or its value, an item of "
        "the kit, or a joint.",
        "needs: {piston: down}    ->  needs: {pistons: down}",
    ),
    "unknown-placeholder": (
        "A text has a name in braces that nothing can replace. Under `each`, the name of the place can be used.",
        "title: Cylinder {cilinder}              ->  Cylinder {cylinder}",
    ),
    "invisible-character": (
        "Invisible characters were removed from a text, because they could control a terminal.",
        "Type the text again.",
    ),
    "unused": (
        "A name is defined but never used. It is left over, or misspelt where it should be used.",
        "gauge: {...}             ->  uses: [gauge], or delete it",
    ),
    "no-rule": (
        "The procedure has no interference rule. The proof of the order then covers no collision of parts.",
        "interference: [{never: {pistons: at-deck, valves: open}, because: The valves would hit the pistons}]",
    ),
    "to-fill": (
        "A figure is still to be filled in: it is written as `ask`. Take it from the source, and write it in place of "
        "`ask`. The bench asks for each figure that is left, with its source, before the work that needs it. It "
        "proposes none.",
        "limit: ask               ->  limit: 0.10 .. 0.28 mm   (source: manual p. 4-21)",
    ),
    "no-source": (
        "Figures have no source. Name the documents once at the top. Then write a `source` beside a "
        "value, a choice, a joint, its stages, one stage, or a time: the document and the place in it, or a text. A "
        "`source` at the top that begins with a document counts for every figure without its own. The bench and the "
        "build sheet show it, and `benchflow trace --figure` finds the jobs done by an older edition.",
        "documents: {manual: {title: Workshop manual, edition: '3', date: 2024-05-01}}\n"
        "  limit: 0.10 .. 0.28 mm   ->  limit: 0.10 .. 0.28 mm, source: manual p. 4-21\n"
        "  stages: [40 N·m, 85 N·m] ->  source: 'own choice, because the studs are new'",
    ),
    "until-without-limit": (
        "A time has `until`, which judges its upper end when that entry is made, but it has no upper end.",
        "limit: at least 2 h      ->  limit: 2 h .. 4 h",
    ),
    "weak-evidence": (
        "An interference rule depends on a variable. The operation that sets it has a limit or a waiting time, but "
        "anyone can waive that by a deviation, and the variable is set all the same. With `proves`, the variable is "
        "not known after such a deviation, and the rule stays closed. For a complaint: the operations that guard "
        "against it enter nothing that shows later how they were done.",
        "limit: below 40 °C       ->  limit: below 40 °C, proves: casing   (or: waive: never)",
    ),
    "which-place": (
        "A value, a state, a finding or an operation has several places, and the text does not say which one. In an "
        "operation that is repeated over the same set of places, the plain name means the same place.",
        "is: bore - journal       ->  is: mean(bore[*]) - journal[2]",
    ),
    "never-found": (
        "A `when` names a finding that cannot be made: the value has no limit on that side.",
        "limit: at least 0.1 mm   ->  limit: 0.1 .. 0.3 mm   (for when: {gap: above})",
    ),
    "hidden-values": (
        "Values of the blocks have `handover`, and none of your own has it. The customer's copy then shows only those "
        "of the blocks. Without any `handover`, it shows every value with a limit.",
        "play: {limit: ...}       ->  play: {handover: End play, limit: ...}",
    ),
    "never-called": (
        "An operation is done only if needed, but no remedy calls for it, so it is never done.",
        "below: [{do: Polish it}] ->  below: [{do: Polish it, redo: [polish]}]",
    ),
    "kept-ticks": (
        "A remedy redoes an earlier operation. The readings of its value are taken again, but the fasteners that were "
        "tightened in its own operation still count. If the joint comes apart for the remedy, they must not.",
        "redo: [fit-shells]       ->  redo: [fit-shells, tighten-caps]",
    ),
    "never-ok": (
        "No readings can satisfy a limit while the values that it depends on are within theirs. Or a formula divides "
        "by zero, a table has no part for any value within the limit, or a matching has fewer parts than places. So "
        "the operation can never be finished without a deviation.",
        "limit: 0.20 .. 0.50 mm   ->  limit: 0.020 .. 0.050 mm",
    ),
    "which-reading": (
        "A formula uses a value with several readings, and does not say which one. Without an index, all such values "
        "of a formula must have the same readings; the formula is then calculated reading by reading. A relative limit "
        "or a table needs one figure: name a reading, calculate one in `work-out`, or judge one by `judge`.",
        "is: bore - journal       ->  is: mean(bore[*]) - journal, or bore[2] - journal",
    ),
    "instrument-does-not-fit": (
        "A stage or a limit is outside the range that its instrument must cover, or the instrument is of another kind.",
        "covers: 20 .. 60 N·m     ->  covers: 20 .. 120 N·m, if the wrench must reach 90 N·m",
    ),
    "wrong-dimension": (
        "The unit is of another kind than expected. For example, `ft-lb` is a torque and `ft` is a length.",
        "stages: [85 ft]          ->  stages: [85 ft-lb]",
    ),
    "wrong-kind": (
        "A text is found where a list or keys are expected, or the reverse. A text needs quotes if it starts with "
        "[ { & * ! or %, or contains `: `.",
        "after: set-head-down: x  ->  after: [set-head-down]",
    ),
}
"""The meaning of each code of the reader, and an example of the correction."""


def all_codes() -> list[str]:
    """Every finding with the first sentence of its meaning, one on a line, in the order of the alphabet."""
    from benchflow.ordering.finding_explanations import EXPLANATIONS
    from benchflow.trade.joint_findings import JOINT_EXPLANATIONS

    found = {code: meaning for code, (meaning, _) in READER_CODES.items()}
    for code, text in {**EXPLANATIONS, **JOINT_EXPLANATIONS}.items():
        meaning = " ".join(text.split("\n\n")[1].split())  # below the code itself
        found[code] = re.sub(r"^An? (error|warning|note)\. ", "", meaning)
    width = max(map(len, found))
    lines = [f"{code:<{width}}  {_first_sentence(meaning)}" for code, meaning in sorted(found.items())]
    return [*lines, "", "More about one of them, with an example: benchflow check --explain CODE"]


def _first_sentence(text: str) -> str:
    return re.split(r"(?<=[.?!]) (?=[A-Z`])", text)[0]


def explanation(code: str) -> str:
    """The explanation of the finding ``code``, as text for a terminal.

    Raises:
        BenchflowError: there is no such code. The message suggests the most similar one.
    """
    from benchflow.ordering.finding_explanations import EXPLANATIONS

    if code in EXPLANATIONS:
        return EXPLANATIONS[code]
    from benchflow.trade.joint_findings import JOINT_EXPLANATIONS

    if code in JOINT_EXPLANATIONS:
        return JOINT_EXPLANATIONS[code]
    if code not in READER_CODES:
        from benchflow.procedure.problems import hint_for

        hint = (
            hint_for(code, [*EXPLANATIONS, *JOINT_EXPLANATIONS, *READER_CODES])
            or "`benchflow check` prints the codes in [ ]."
        )
        raise BenchflowError(f"There is no finding {code!r}. {hint}")
    meaning, example = READER_CODES[code]
    return "\n".join([code, "", *textwrap.wrap(meaning, 90), "", "For example:", textwrap.indent(example, "  ")])
