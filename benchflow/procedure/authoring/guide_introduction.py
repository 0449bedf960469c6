"""The first part of the author's guide: rules of notation, and an example that the tests read and prove."""

INTRODUCTION = """# The author's guide

A procedure is a text file in YAML. Start with the example below or with a copy of a shipped procedure (`benchflow
where` prints their folder). After every few lines, run `benchflow check FILE`. It lists every problem with line and
column. If the file has no error, it then proves the order. `benchflow check --explain CODE` explains a finding.
`benchflow order FILE` shows the order.

## An example

```yaml
benchflow: 1
id: pump-end
title: Pump end, new bearing
revision: "A"
notice: This pump and its numbers are invented.

options:
  seal: {ask: Which seal is fitted?, choices: [lip, face]}
places:
  end: [drive, free]
state:
  guard: {title: coupling guard, values: [on, off], start: on}
  supply: {title: electric supply, values: {live: live, locked: locked off}, start: ask, ask: How is the supply?}
interference:
- never: {guard: off, supply: live}
  because: the coupling could start and injure a hand
moves:
  lock-off: {title: Lock off the supply, do: Switch the supply off and fit your own lock., sets: {supply: locked}}

kit:
  parts:
    bearings: {title: Ball bearings, quantity: "2", lot: required}
    gasket: {title: Cover gasket, discard: true}
  consumables:
    sealant: {title: Flange sealant}
instruments:
  wrench: {title: Torque wrench, kind: torque, covers: 5 .. 40 N·m, uncertainty: at most 4 %}
  micrometer: {title: Micrometer, kind: length, covers: 0 .. 50 mm, uncertainty: at most 0.004 mm}
joints:
  cover:
    title: Cover screws
    thread: M8x1.25
    layout: |
      1 3
      4 2
failures:
  leak: The pump loses water
  noise: The pump is loud

sections:
- title: Shaft
  operations:
  - id: guard-off
    title: Take off the guard and draw the shaft
    needs: {supply: locked}
    sets: {guard: off}
    undo: {do: Fit the guard again., sets: {guard: on}}
  - id: measure
    title: Measure the {end} end
    each: end
    after: [guard-off]
    record:
      seat:
        ask: Diameter of the bearing seat, in two directions
        unit: mm
        limit: 30.002 .. 30.030 mm
        with: micrometer
        readings: 2
        judge: mean
      bore: {ask: "Bore of the {end} bearing", unit: mm, limit: 29.985 .. 30.005 mm, with: micrometer}
    work-out:
      grip: {is: seat - bore, unit: mm, limit: 0.002 .. 0.030 mm}
    guards-against: [noise]
    undo: {do: No part has to be removed.}
  - id: shaft-in
    title: Fit the shaft and bearings
    after: ["measure[*]"]
    uses: [bearings]
    cautions: [{warning: Hot bearings burn the skin. Wear gloves.}]
    do: |
      1. Warm the bearings and push them on to the shoulder.
      2. Push the shaft into the housing.
    because: Cold bearings must be driven on, and then the balls mark the races.
    check: [The shaft turns freely by hand]
    guards-against: [noise]
    undo: {do: Draw the shaft with its bearings.}
- title: Cover
  operations:
  - id: sealant
    title: Apply sealant to the flange
    when: {seal: face}
    after: [shaft-in]
    uses: [sealant]
    takes: 1 min
    check: [The bead is unbroken]
    undo: {do: Wipe the sealant off.}
  - id: cover-on
    title: Fit and tighten the cover
    time: {sealant: at most 15 min}
    takes: 5 min
    uses: [gasket]
    tighten:
      joint: cover
      stages: {by: seal, lip: [10 N·m, 20 N·m (14.8 ft-lb)], face: [10 N·m, 24 N·m]}
      with: wrench
    hold: {by: inspector, for: The cover is flush all round}
    guards-against: [leak]
    undo: {do: Take the cover off., discard: [gasket]}
  - id: guard-on
    title: Fit the coupling guard
    after: [cover-on]
    sets: {guard: on}
    check: [The shaft turns freely in the guard]
    undo: {do: Take the guard off., needs: {supply: locked}, sets: {guard: off}}

follow-up:
- {title: Look for leaks, due: 7 d}
```

## Notation

- **Indent** with spaces, never with tabs. Lines of one list or mapping have the same indent.
- **Names** (`id`, and the names of values, joints, parts ...) consist of letters, digits and dashes: `seat-cam`. Use
  each name once in a procedure.
- **Texts** need quotes if they begin with `[ { * & ! % @` or contain `: ` or ` #`. Inside `[...]` or `{...}` they also
  need quotes if they contain a comma or a place: `check: ["Clean, dry and flat"]`, `{see: "Bore {bore} is dry"}`.
- **Quantities** are a number and a unit: `40 N·m`, `85 ft-lb`, `0.0015 in`, `1.5 thou`, `90°`, `1 turn`, `20 °C`,
  `10 min`, `14 d`. Use a decimal point, never a comma.
- **Limits**: `0.10 .. 0.28 mm`, `at most 0.05 mm`, `at least 0.5 mm`, `0.15 ± 0.02 mm`. Both ends are within the limit.
  `below 40 °C` and `above 0.5 mm` do not include the end. For a value, one quantity such as `0.15 mm` means equal to
  it within half its last digit: 0.145 to 0.155 mm.
- **Two units**: write both columns as printed: `29.5 ft-lb (40 N·m)`, `0.13 .. 0.20 mm (0.005 .. 0.008 in)`,
  `40 ± 4 N·m (30 ± 3 ft-lb)`. The program checks that they agree within half a step of the last digit of the coarser
  one. A whole number that ends in 5 or 0 may be rounded to 5 or 10, by at most 5 %. A reading within either column is
  ok. `40 N·m (about 30 ft-lb)` shows the second one and does not compare it.
- **Digits**: readings are kept and judged exactly, in any unit. Only what is shown is rounded, halves away from zero:
  a reading shows the digits that were typed. Converted to another unit, it shows about one digit more than was typed,
  and a mean one decimal more than its readings.

## Places, order, findings and sources

- **Places**: under `each: bore` an operation is done once for each bore, and its texts can contain `{bore}`. Elsewhere,
  `measure[2]` is one place, and `"measure[*]"`, in quotes, is all places.
- **Repeated sections**: a section with `each: cap` is repeated for each cap, in any order or in its `order`; with
  `one-by-one: true` it is finished at one cap before it begins at the next. In it a plain name means the same cap, and
  an operation with its own `each: side` is `seat[4, left]`.
- **Once more**: `{id: refit, again: fit-crank}` does an operation once more, with values of its own. In its formulas
  `play` is the new value, and `fit-crank.play` the first. Other operations name them `refit.play` and `play`. In its
  `redo`, `fit-crank` means the copy.
- **State by place**: `state: {rod: {each: bore, values: [out, seated], start: out}}` is one state for each bore. In an
  operation with `each: bore` the plain name `rod` is its own one; `"rod[*]"` means all of them. In a `never` rule, the
  plain name makes a rule for each bore, and `"rod[*]"` one that matches only if all of them are in that state at once.
- **Findings**: `when: {end-play: above}` makes an operation part of the build only if that value was too high, `when:
  {loose: no}` only if that check (`{see: ..., id: loose}`) was answered no. With `if-needed: true` it is done only when
  a remedy names it in `redo`: `above: [{do: Polish the end, redo: [polish]}]`.
- **Order**: `after` names what has to be done before. `state` defines the states of the assembly: `needs` is the state
  that an operation needs, `sets` the state when it is done, `during` the state while it is in progress. `never` lists
  states that must not occur together. What comes after an operation that `when` leaves out comes after what that
  operation comes after: the order passes through it.
- **Formulas** use names of values, `+ - * /` and brackets. Write spaces around a minus, because names contain dashes.
- **Interlock**: a deviation can never waive a `never` rule, but it can waive the measurement that shows the state.
  Write `proves: casing` on the value, check or time that shows the state: if it is waived, the state is not known
  afterwards. `waive: never` or a role limits who can sign; `found: never` on a variable keeps it from being entered as
  found.
- **Tables**: `{up to: 0.10 mm, take: thin}` includes its end, `{below: 0.10 mm, take: thin}` does not. A row with
  `stop: Ask the maker` has no part. Write the lowest end (`at least`) too, or every lower value gets the first part.
- **By option or place**: where a limit, a quantity, a formula, an instrument, a list of `stages`, a table (`from`), a
  text of `do` or `check`, or a value in `needs`, `sets`, `during` or `time` is written, there can be one for each
  choice: `limit: {by: side, intake: 0.20 mm, exhaust: 0.30 mm}`. `by` names an option, or the set of places of the
  operation (`each`) or of the readings (`readings`). Write each choice, or `else: ...` for the rest.
- **Sources**: `documents: {manual: {title: Workshop manual, edition: "3"}}` names the documents at the top. A value, a
  choice, a joint, its `tighten`, a stage or a time with keys may say `source: manual p. 4-21`, `source: by telephone`
  or `source: "own choice, because the studs are new"`. A `source` at the top that begins with a document counts for
  every figure without its own. `benchflow trace --figure NAME` finds the jobs of each edition.
- **Evidence**: with `decision: guarded`, a value near its limit is not proven. Each value then needs `with`, naming an
  instrument that has an `uncertainty`.

## Pictures
The builder can attach pictures to a step, a value, a fastener or a note: F7 and F8 at the bench, or `benchflow attach`.
If a step needs one, say so in a check, such as `The timing marks are photographed`. The stored file is an unchanged
copy: the position and other data of the phone stay in it. The small pictures on the sheets have none of these data.
"""
