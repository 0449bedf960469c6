"""Client of the teardown controller: sends intents in a thread, and keeps the drafts of the open teardown."""

import asyncio
import time
from pathlib import Path
from typing import Any

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import shown_path
from benchflow.session.log.sidecars import moved_to
from benchflow.session.log.timestamps import parse_timestamp
from benchflow.session.log_writer import Answer
from benchflow.session.machine_folders import machine_folders
from benchflow.session.pictures.incoming_folder import IncomingPicture, IncomingWatch, incoming_folder
from benchflow.session.pictures.other_jobs import OtherJobs
from benchflow.session.teardown.teardown_controller import TeardownController
from benchflow.session.teardown.teardown_record import TeardownRecord
from benchflow.tui.model.drafts import Drafts

ENTRY_DRAFT = "entry"
"""Name of the draft of the entry line."""


class TeardownClient:
    """Sends intents to the controller. ``by`` is the person at the bench, "" for the one who started it."""

    def __init__(self, controller: TeardownController, by: str = "") -> None:
        self.controller, self.by = controller, by
        self.drafts = Drafts(controller.journal.path, writable=not controller.read_only)
        self.incoming: IncomingWatch | None = None  # the folder for pictures of a phone
        self.new_picture: IncomingPicture | None = None  # the latest one in it that is not attached yet
        self.holder_left = False  # true if the window that had the log open when this one was opened has left it

    @property
    def read_only(self) -> str:
        """The reason why nothing can be logged, as a clause; "" if it can."""
        return self.controller.read_only

    async def continue_here(self) -> str:
        """Open the log for writing after another window has left it. Return an error message, or an empty string."""
        try:
            again = await asyncio.to_thread(self.controller.opened_again)
        except BenchflowError as error:
            self.holder_left = False
            return str(error)
        self.controller.journal.close()
        self.controller = again
        self.holder_left = False
        self.drafts = Drafts(self.log)
        return ""

    @property
    def record(self) -> TeardownRecord:
        """The record of the open teardown."""
        assert self.controller.record is not None  # the client exists only for an open teardown
        return self.controller.record

    @property
    def log(self) -> Path:
        """The path of the log."""
        return self.controller.journal.path

    @property
    def follows_log(self) -> bool:
        """True if the record is that after the last event on disk."""
        return self.record.events == self.controller.saved

    async def send(self, intent: dict[str, Any]) -> Answer:
        """Send one intent. When this returns, its event is on disk or it was refused."""
        message = intent | ({"by": self.by} if self.by else {})
        return await asyncio.to_thread(self.controller.send, message)

    async def look_for_picture(self) -> bool:
        """Look into the incoming folder for a picture. Return true if a file was found that the next look may take."""
        folders = machine_folders()
        folder = incoming_folder(folders.config, folders.data)  # it can be changed while the screen is open
        if self.incoming is None or self.incoming.folder != folder:
            since = parse_timestamp(self.record.opened_at).timestamp()
            others = OtherJobs(self.log, (folders.sessions,))
            self.incoming = IncomingWatch(folder, since, others)
        arrived = await asyncio.to_thread(self.incoming.look, time.time())
        record = self.record
        kept = {each.sha256 for each in record.pictures}
        kept |= {each.sha256 for line in record.lines for each in line.pictures}
        kept |= self.incoming.elsewhere.keys()
        self.new_picture = next((each for each in reversed(arrived) if each.facts.sha256 not in kept), None)
        return self.incoming.unsettled

    async def read_new_lines(self) -> str:
        """Read what another window has added to the log. Return an error message, or an empty string."""
        try:
            await asyncio.to_thread(self.controller.reread)
        except BenchflowError as error:
            self.holder_left = False
            return str(error)
        self.holder_left = await asyncio.to_thread(self.controller.journal.holder_left)
        moved = await asyncio.to_thread(moved_to, self.log)
        return f"This teardown continues in {shown_path(moved)}." if moved is not None else ""

    async def move_to(self, folder: Path) -> str:
        """Continue the log in another folder. Return an error message, or an empty string."""
        try:
            await asyncio.to_thread(self.controller.move_to, folder)
        except BenchflowError as error:
            return str(error)
        self.drafts.follow_log(self.log)
        return ""
