"""The actions of the bench for pictures: attach a new one with one key, and open the list."""

import asyncio
import time

from benchflow.base.plaintext import shown_path
from benchflow.session.log.timestamps import parse_timestamp
from benchflow.session.machine_folders import machine_folders
from benchflow.session.pictures.incoming_folder import IncomingPicture, IncomingWatch, incoming_folder
from benchflow.session.pictures.other_jobs import OtherJobs
from benchflow.session.view.bench_view import CalculatedInput, TightenInput
from benchflow.tui.app.navigation import PicturesRequest, PictureSubject
from benchflow.tui.bench.cursor import BenchCursor
from benchflow.tui.bench.entry_actions import EntryActions
from benchflow.tui.draw.styled_lines import cut
from benchflow.tui.model.bench_inputs import SlotInput, TickInput, WholeInput

LOOK = 5.0
"""Seconds between two looks into the incoming folder, if there is one. (Own rule.)"""

SETTLING = 1.0
"""Seconds after which a file that was found is looked at again."""

NO_LOOK = 60.0
"""Seconds between two checks for an incoming folder, while there is none. F7 and F8 check at once."""

LONGEST_TITLE = 44
"""The most cells of the title of what a new picture is offered for, so that the line about it fits two lines."""

BETWEEN_LOOKS = 0.4
"""Seconds between the two looks of a key. Each costs one reading of the folder. (Own rule.)"""


class PictureActions(EntryActions, inherit_bindings=False):
    """The part of the bench that attaches pictures. The tick of its clock looks into the incoming folder."""

    def watch_incoming(self) -> None:
        """Begin to look into the incoming folder, unless the job is only viewed."""
        if self.client.view.read_only or self.client.incoming is not None:
            return
        folders = machine_folders()
        since = parse_timestamp(self.client.state.opened_at).timestamp()
        others = OtherJobs(self.client.log, (folders.sessions,))
        self.client.incoming = IncomingWatch(incoming_folder(folders.config, folders.data), since, others)

    def next_look(self) -> float:
        """Seconds until the next look into the incoming folder."""
        watch = self.client.incoming
        if watch is None or not watch.exists:
            return NO_LOOK
        return SETTLING if watch.unsettled else LOOK

    async def look_for_pictures(self) -> bool:
        """Look into the incoming folder, in a thread. Return true if other pictures are offered now."""
        watch = self.client.incoming
        if watch is None or self.client.busy:
            return False
        arrived = await asyncio.to_thread(watch.look, time.time())
        return self.client.offer(arrived)

    def action_attach_offered(self) -> None:
        """Attach the first of the new pictures to what the line about it names. If none is offered, look for one."""
        if self._refused_bounce():
            return
        if not self.client.offered:
            self.run_holding_keys(self._look_by_key())
            return
        picture = self.client.offered[0]
        subject = offered_subject(self.cursor, picture)

        async def work() -> None:
            answer = await self._send("attach", file=str(picture.path), **subject.fields)
            if answer is not None:
                self.client.offer(self.client.arrived)
                text = f"{picture.facts.name} is attached to {subject.title} (log line {answer.lines[-1].seq})."
                self.show_message(f"{text} If that is wrong, press F8 to withdraw it.")
                self.update_entry()

        self.run_holding_keys(work())

    async def _look_by_key(self) -> None:
        """Look into the incoming folder, and show what is offered now."""
        await self._look_twice()
        if self.client.offered:
            self.redraw()  # the line about new pictures says which one F7 attaches
            return
        watch = self.client.incoming
        if watch is not None and watch.unsettled:
            self.show_message("A new file is still arriving. Press F7 again when it is complete.")
            return
        self.show_message(self._why_none())

    def _why_none(self) -> str:
        """Why no picture is offered, with what to do."""
        watch = self.client.incoming
        if watch is not None and watch.refused:
            more = f" F8 shows {len(watch.refused)} such files." if watch.refused[1:] else ""
            return f"{watch.refused[-1].why}{more}"
        if self.client.elsewhere:
            picture, job = self.client.elsewhere[-1]
            return f"{picture.facts.name} is attached to {job} already. F8 attaches it to this job too."
        if watch is not None and not watch.exists:
            return f"{watch.missing}. F8 attaches a file from another folder."
        folder = "" if watch is None else f" in {shown_path(watch.folder)}"
        return f"There is no new picture{folder}. F8 attaches a file from another folder."

    async def _look_twice(self) -> None:
        """Look until each new file was found twice with the same size. Another folder can be set meanwhile."""
        folders, watch = machine_folders(), self.client.incoming
        if watch is not None and watch.folder != incoming_folder(folders.config, folders.data):
            self.client.incoming = None
            self.watch_incoming()
        await self.look_for_pictures()
        if self.client.incoming is not None and self.client.incoming.unsettled:
            await asyncio.sleep(BETWEEN_LOOKS)
            await self.look_for_pictures()

    def action_pictures(self) -> None:
        async def work() -> None:
            await self._look_twice()
            made_in = {one.facts.sha256: finished_subject(self.cursor, one) for one in self.client.offered}
            finished = {digest: subject for digest, subject in made_in.items() if subject is not None}
            self.bench_app.open(PicturesRequest(picture_subjects(self.cursor), finished), self._from_pictures)

        self.run_holding_keys(work())

    def _from_pictures(self, message: str | None) -> None:
        self.client.offer(self.client.arrived)
        self.on_return(message)


def picture_subjects(cursor: BenchCursor) -> tuple[PictureSubject, ...]:
    """What a picture can be attached to here: first the current item, then the operation, then the job."""
    found: list[PictureSubject] = []
    operation = cursor.operation
    match cursor.item:
        case SlotInput(input=given, slot=slot):
            several = len(given.readings) > 1
            title = f"{given.ask or given.name}{f', {slot.slot}' if several else ''}"
            fields: dict[str, str | int] = {"operation": operation, "name": given.name}
            found.append(PictureSubject(title, {**fields, "reading": slot.slot} if several else fields))
        case TickInput(input=joint, fastener=fastener):
            found.append(_fastener(operation, joint, fastener))
        case WholeInput(input=TightenInput() as joint):
            failed = cursor.failed_fastener
            if failed is not None:
                found.append(_fastener(operation, joint, failed))
            found.append(PictureSubject(joint.title, {"operation": operation, "joint": joint.joint}))
        case WholeInput(input=CalculatedInput() as value):
            found.append(PictureSubject(value.title or value.name, {"operation": operation, "name": value.name}))
        case _:
            pass
    if operation:
        found.append(_step_subject(cursor, operation))
    state = cursor.client.state
    if state.remarks:
        seq = max(state.remarks)
        found.append(PictureSubject(f"the last note or remark (log line {seq})", {"event": seq}))
    return (*found, PictureSubject("the job as a whole", {"operation": ""}))


def _fastener(operation: str, joint: TightenInput, fastener: int) -> PictureSubject:
    fields: dict[str, str | int] = {"operation": operation, "joint": joint.joint, "fastener": fastener}
    return PictureSubject(f"{joint.title}, no. {fastener}", fields)


def _step_subject(cursor: BenchCursor, operation: str) -> PictureSubject:
    return PictureSubject(f"step {' '.join(cursor.client.title(operation).split())}", {"operation": operation})


def offered_subject(cursor: BenchCursor, picture: IncomingPicture) -> PictureSubject:
    """What F7 attaches a new picture to: the finished operation that it was made in, or else the current item."""
    return finished_subject(cursor, picture) or picture_subjects(cursor)[0]


def finished_subject(cursor: BenchCursor, picture: IncomingPicture) -> PictureSubject | None:
    """The finished operation that a picture was made in; ``None`` if it was made after the last one, or before the job.

    The time of an operation is from the end of the one that was finished before it to its own end.
    """
    state = cursor.client.state
    since = parse_timestamp(state.opened_at).timestamp()
    for operation, finished in state.done.items():
        until = parse_timestamp(finished.at).timestamp()
        if since <= picture.made <= until and operation != cursor.operation:
            return _step_subject(cursor, operation)
        since = max(since, until)
    return None


def offer_text(cursor: BenchCursor) -> str:
    """The line about new pictures: ``1 new picture. F7 attaches IMG_0012.jpg to Bore, top. F8 shows all.``"""
    offered = cursor.client.offered
    if not offered:
        return ""
    name = offered[0].facts.name
    name = name if len(name) <= 28 else f"{name[:14]}…{name[-13:]}"
    count = "1 new picture" if len(offered) == 1 else f"{len(offered)} new pictures"
    title = cut(offered_subject(cursor, offered[0]).title, LONGEST_TITLE)
    return f"{count}. F7 attaches {name} to {title}. F8 shows all."
