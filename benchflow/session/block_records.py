"""The blocks of a procedure in the log, and the blocks that were changed since a job was started."""

from collections.abc import Iterable
from pathlib import PurePath

from benchflow.base.plaintext import clean_line
from benchflow.procedure.blocks.block_folder import UsedBlock
from benchflow.session.state.event_basics import BlockRecord


def block_records(blocks: Iterable[UsedBlock]) -> tuple[BlockRecord, ...]:
    """The blocks of a procedure as the log has them."""
    return tuple(BlockRecord(block.id, block.sha256, clean_line(PurePath(block.file).name)) for block in blocks)


def used_blocks(records: Iterable[BlockRecord]) -> tuple[UsedBlock, ...]:
    """The blocks in a log, for a new log that continues it."""
    return tuple(UsedBlock(clean_line(each.id), each.sha256, clean_line(each.file)) for each in records)


def changed_blocks(logged: Iterable[BlockRecord], present: Iterable[UsedBlock], *, whole: bool = True) -> list[str]:
    """A sentence for each block that differs between the log and the present procedure file.

    ``whole`` is false if the file has errors. Then a block that is missing there is not named.
    """
    before, now = {each.id: each for each in logged}, {each.id: each for each in present}
    return [
        f"The block {clean_line(name)} {_difference(before.get(name), now.get(name))} since this job was started. The "
        "job continues with the procedure in its log. To work by the present block, close this job and start a new one."
        for name in dict.fromkeys((*before, *now))
        if _digest(before.get(name)) != _digest(now.get(name)) and (whole or (name in before and name in now))
    ]


def _digest(block: BlockRecord | UsedBlock | None) -> str:
    return "" if block is None else block.sha256


def _difference(before: BlockRecord | None, now: UsedBlock | None) -> str:
    if now is None:
        return "is no longer used by the procedure, which was changed"
    if before is None:
        return "is used by the procedure, which was changed"
    return f"was changed (log: {before.sha256[:12]}, now: {now.sha256[:12]})"
