"""The part of the author's guide about building blocks. The tests read and expand its examples."""

BLOCKS_SECTION = """
## Building blocks

Work that is done the same way in every engine is written once, in a block: studs in stages, end float with shims,
sealant with a window. A block is a file with parameters. `benchflow blocks` lists the blocks, `benchflow blocks show
ID` prints the page of one, and `benchflow guide --blocks` the pages of all. `benchflow blocks used ID` says which
procedures use it.

**Use a block** among the operations of a section. `with` gives the parameters, `as` a prefix for the ids of the block:

```yaml
- use: cover-on-studs
  with: {joint: cover-studs, final: 24 N·m}
  as: cover
```

The operation `tighten` of the block is then `cover-tighten`. Other operations use this name: `after:
[cover-tighten]`. `names: {tighten: close-the-cover}` gives one id a name of its own. `add: {tighten: {takes: 10
min}}` sets whole keys of one operation; `none` deletes a key. `benchflow expand FILE` prints the procedure with its
blocks written out, with your comments that stand on lines of their own. `benchflow check` proves that text. It
reports each problem at your line, and names the line of the block. The log of a job has the text written out and the
SHA-256 of each block. A later change of a block does not change a job that was started.

**Write a block** in a file with its id as the name, such as `cover-on-studs.yaml`. Put it in the folder `blocks`
beside your procedures, or in the shop's folder (`benchflow where`):

```yaml
benchflow-block: 1
id: cover-on-studs
title: A cover on studs, in three stages
about: |
  For a cover with a gasket that is compressed evenly. It assumes clean threads.
takes:
  joint: {kind: joint, text: The studs of the cover}
  final: {kind: torque, text: The torque of the last stage, sample: 24 N·m}
  lubricant: {kind: text, default: engine oil}
  gap: {kind: limit, of: length, default: none, text: "The gap at the edge, if it is measured"}
operations:
- id: oil
  title: Oil the studs with {lubricant}
  check: [Every thread is wet]
- id: tighten
  title: Tighten the cover to {final}
  after: [oil]
  tighten: {joint: {joint}, stages: [{final / 3}, {2 * final / 3}, {final}]}
  undo: {do: Loosen the nuts in the reverse order.}
- id: measure
  given: gap
  title: Measure the gap
  after: [tighten]
  record:
    gap: {ask: Gap at the edge, unit: mm, limit: {gap}, above: [{do: Tighten again, redo: [tighten]}]}
```

- `{final}` alone is replaced by the whole value: a text, a list or a mapping. In a list, a list is inserted item by
  item. In a text, it is replaced by text; `{Final}` begins with a capital. `{final / 3}` is calculated exactly.
- `default: none` makes a parameter optional. A key, a list item or a line of a text that consists only of a parameter
  that is not given is left out. `given: gap` or `unless: gap` on an operation or a list item keeps it or leaves it
  out; `given: {way: shims}` compares with a value.
- `{cylinder}`, a placeholder that names no parameter, is left for `each`.
- A block may also have `kit`, `instruments`, `joints`, `state`, `interference`, `moves`, `failures` and so on. They
  are added to the procedure. An entry of the same name in the procedure replaces the one of the block. Two blocks with
  different entries of one name are an error. A block with set-up only is used at the top level: `use: [ID]`.
- Blocks may use blocks. A block that uses itself, directly or through others, is an error.
- Two blocks with one id in different folders are an error, unless the first one says `replaces: ID`. The folders are
  searched in this order: `blocks` beside the procedure, the shop's folder, the shipped blocks.
- `with: {gap: none}` leaves out a parameter whose default is `none`.
- `benchflow check BLOCKFILE` checks a block alone: it is written out with the `sample` or the `default` of each
  parameter. Where both are missing, it takes a stand-in of the kind, such as 40 N·m, and says so. Give a parameter a
  `sample` in any of these cases: its kind is `anything`; the figures must fit each other (stages, angles); you want an
  example on the page of the block. The order is proven in each procedure that uses the block, not for the block alone.
"""
