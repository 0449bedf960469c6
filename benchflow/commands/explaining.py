"""What a finding of ``check`` means and how it is mended. Those about the order are explained where they are proven."""

import textwrap

from benchflow.base.errors import BenchflowError

READER: dict[str, tuple[str, str]] = {
    "alias": (
        "An anchor, an alias or a merge key of YAML. A procedure says everything where it is needed, so that whoever "
        "reads an operation at the bench has all of it.",
        "do: *as-before           ->  do: Oil the journals and lobes",
    ),
    "bad-formula": (
        "A formula cannot be read, or its units do not come out as the unit that is asked for. Minus needs a space on "
        "either side, since names have dashes.",
        "is: bore-journal         ->  is: bore - journal",
    ),
    "bad-key": ("A key is a plain word.", "[a, b]: text              ->  a: text"),
    "bad-layout": (
        "The joint is not drawn so that its order of tightening can be read: the fasteners are numbered from 1, each "
        "once, in the order in which they are tightened, and lie on the page as they lie on the part.",
        "layout: |\n  3 1 2 5                ->  3 1 2 4",
    ),
    "bad-name": (
        "A name is made of the letters a to z, digits, dashes and underscores. Square brackets are put behind it by "
        "`each`, for its places.",
        "id: Seat cam no. 1       ->  id: seat-cam",
    ),
    "bad-number": (
        "A number is wanted, with a point and not with a comma.",
        "nut-factor: 0,15         ->  nut-factor: 0.15",
    ),
    "bad-quantity": (
        "A quantity is a number and a unit as the trade writes it; a limit has one or two of them. Nothing is guessed: "
        "a comma may be a decimal or thousands, a number without unit may be anything.",
        "limit: 1,5 .. 2          ->  limit: 1.5 .. 2 mm",
    ),
    "bad-yaml": (
        "The text is no YAML from this place on. As a rule the indent is off, a bracket or a quote is not closed, or a "
        "text with `: ` in it needs quotes.",
        "title: Note: oil first   ->  title: 'Note: oil first'",
    ),
    "cannot-prove": (
        "The rule is guarded: a value counts only where it is in for certain, so the uncertainty of its instrument has "
        "to be known, and small beside the limit. As it is written, no reading is proven in and the operation can only "
        "be finished with a deviation, unless a better instrument of the shop's register is named with the reading.",
        "limit: at least 0.5 mm   ->  limit: at least 0.5 mm, with: feeler-gauge, or decision: simple",
    ),
    "circular-formula": (
        "A value is worked out, by way of others or at once, from itself.",
        "gap: {is: gap + shim}    ->  gap: {is: lash + shim}",
    ),
    "control-character": (
        "A character that no one can see and that could steer a terminal stands in the file.",
        "delete it; an editor can show it",
    ),
    "directive": (
        "A line that begins with % would change how the file is read.",
        "%YAML 1.1                ->  delete it",
    ),
    "disagreeing-units": (
        "A value is printed in two units, and they are not the same value, to half of the last digit printed. One of "
        "the two is misprinted, there or here.",
        "30 ft-lb (47 N·m)        ->  35 ft-lb (47 N·m), if that is what the maker says",
    ),
    "duplicate-key": ("A key is written twice in one place; only one of the two could count.", "keep one of them"),
    "duplicate-name": (
        "Two things have one name. Names are unique in a procedure, so that a log never leaves open which was meant.",
        "id: fit-cover (twice)    ->  fit-front-cover, fit-rear-cover",
    ),
    "empty-file": ("There is nothing in the file.", "benchflow: 1             is how a procedure begins"),
    "empty-value": ("A key stands there with nothing behind it.", "write what is meant, or take the key out"),
    "falling-torque": (
        "A stage asks for less torque than the one before. The fastener is tighter already: the wrench clicks at once, "
        "and nothing turns.",
        "[40 N·m, 30 N·m]         ->  [40 N·m, loosen 1 turn, 30 N·m]",
    ),
    "gap-in-table": (
        "A table to choose by has nothing for some values. A reading between two rows must not be guessed at.",
        "{up to: 0.10 mm}, {above: 0.12 mm}      ->  {up to: 0.10 mm}, {up to: 0.20 mm}",
    ),
    "missing-because": (
        "An interference rule does not say why. The builder is told the reason when he is stopped, and would not "
        "believe a stop without one.",
        "because: an open valve would reach the pistons",
    ),
    "missing-key": (
        "Something cannot be understood without this key.",
        "see `benchflow schema`, or the author's guide",
    ),
    "missing-title": ("What is done is told by its id alone.", "title: Seat the intake cam"),
    "missing-unit": (
        "A value is read as a bare number, since it has no unit. That is right for a count and for nothing else.",
        "gap: {ask: Gap}          ->  gap: {ask: Gap, unit: mm}",
    ),
    "never-tightened": (
        "No stage reaches some fasteners of the joint: every stage is only for groups that leave them out.",
        "{torque: 90 N·m, only: long}            ->  a stage for the short ones too",
    ),
    "not-one-of": (
        "Only a few words can stand in this place; the finding lists them.",
        "lot: yes                 ->  lot: required",
    ),
    "not-utf-8": ("The file is not UTF-8 text.", "save it as UTF-8"),
    "one-too-many": ("Two keys say the same thing in two ways.", "layout and pattern       ->  one of them"),
    "overlap-in-table": (
        "Two rows of a table to choose by take the same value.",
        "{up to: 0.20 mm}, {up to: 0.10 mm}      ->  the smallest first",
    ),
    "remedy-without-limit": (
        "A remedy is given for readings below (or above), but the limit has no end on that side.",
        "limit: at most 0.05 mm, below: [...]    ->  above: [...]",
    ),
    "duplicate-item": (
        "The same word stands twice in one list.",
        "values: [shut, open, shut]              ->  [shut, open]",
    ),
    "several-documents": ("A line `---` begins a second document; one file holds one procedure.", "delete the line"),
    "stage-order": (
        "An angle is turned from a fastener that was not seated with a torque before, so nobody knows where it begins.",
        "[+90°, +90°]             ->  [40 N·m, +90°, +90°]",
    ),
    "tag": ("A tag of YAML would make something else of a text.", "!!python/... text        ->  text"),
    "too-deep": ("Lists and mappings nest deeper than any procedure needs.", "look for a bracket that is not closed"),
    "too-few": (
        "Readings are to be compared with each other, and there is only one.",
        "limit: equal within 0.010 in            ->  with `readings: 3`",
    ),
    "too-large": ("The file is larger than any procedure.", "is it the right file?"),
    "too-long": ("One text is longer than a bench can show.", "say it in several operations"),
    "too-many-problems": ("The rest of the problems are not listed.", "mend the first ones; many go away with them"),
    "total-angle": (
        "The angles of the stages do not add up to the total that is printed. One of them is misprinted.",
        "[40 N·m, +90°, +90°], total-angle: 200° ->  180°, if that is what the maker says",
    ),
    "unknown-format": ("The file is written for another version of the format.", "benchflow: 1"),
    "unknown-key": (
        "No such key in this place. As a rule it is a slip of the pen, or a comma inside {...} that begins a new key.",
        "afer: [set-head-down]    ->  after: [set-head-down]",
    ),
    "unknown-name": (
        "Something is named that is given nowhere: an operation, a variable or its value, a thing of the kit, a joint.",
        "needs: {piston: down}    ->  needs: {pistons: down}",
    ),
    "unknown-placeholder": (
        "A text has braces with a name that nothing is known to fill in for. Under `each` the place's own name can "
        "stand in braces.",
        "title: Cylinder {cilinder}              ->  Cylinder {cylinder}",
    ),
    "invisible-character": (
        "Characters that cannot be seen were taken out of a text, since they could steer a terminal.",
        "type the text again",
    ),
    "unused": (
        "Something is given and never referred to: left over, or misspelt where it is used.",
        "gauge: {...}             ->  uses: [gauge], or take it out",
    ),
    "value-not-ready": (
        "A value is used by an operation that may be done before the one that makes the value.",
        "after: [measure-bore]",
    ),
    "which-place": (
        "A value was read at several places, and the formula does not say at which.",
        "is: bore - journal       ->  is: mean(bore[*]) - journal[2]",
    ),
    "instrument-does-not-fit": (
        "A stage or a limit lies beyond what the instrument that is named for it has to cover, or is of another kind.",
        "covers: 20 .. 60 N·m     ->  covers: 20 .. 120 N·m, if the wrench is to do 90 N·m",
    ),
    "wrong-dimension": (
        "The unit is of another kind than what is wanted. `ft-lb` is a torque, `ft` a length.",
        "stages: [85 ft]          ->  stages: [85 ft-lb]",
    ),
    "wrong-kind": (
        "A text stands where a list or keys are wanted, or the other way round. A text needs quotes when it begins "
        "with [ { & * ! or %, or has `: ` in it.",
        "after: set-head-down: x  ->  after: [set-head-down]",
    ),
}
"""A code of the reader: what it means, and an example of mending it."""


def explanation(code: str) -> str:
    """What ``code`` means, how it is mended, with an example.

    Raises :class:`~benchflow.base.errors.BenchflowError`, naming the nearest, when there is no such code.
    """
    from benchflow.ordering.finding_explanations import EXPLANATIONS

    if code in EXPLANATIONS:
        return EXPLANATIONS[code]
    if code not in READER:
        from benchflow.procedure.problems import hint_for

        hint = hint_for(code, [*EXPLANATIONS, *READER]) or "`benchflow check` prints the codes"
        raise BenchflowError(f"There is no finding {code!r}. {hint}")
    meaning, example = READER[code]
    return "\n".join([code, "", *textwrap.wrap(meaning, 90), "", "For example:", textwrap.indent(example, "  ")])
