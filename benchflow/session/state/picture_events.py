"""The events of a picture: it was attached, or a wrong one was withdrawn.

They are part of :mod:`benchflow.session.state.events`, and may follow the end of the job.
"""

from msgspec import Struct

from benchflow.session.pictures.picture_file import PictureFacts
from benchflow.session.state.event_basics import Event


class PictureTarget(Struct, frozen=True, omit_defaults=True):
    """What a picture shows of its operation. Without any field it is a picture of the operation as a whole."""

    value: str = ""  # name of a value of the operation
    reading: str = ""  # number or place of a reading of the value
    joint: str = ""  # joint that the operation tightens
    fastener: int = 0  # of the joint, from 1; 0 for the joint as a whole
    event: int = 0  # ``seq`` of a note, deviation, correction, failed fastener, complaint or finding


class PictureAttached(Event, frozen=True, tag="attached"):
    """A picture was attached. Its file was stored beside the log before this event, under its SHA-256."""

    name: str  # of the original file, safe to print
    sha256: str
    size: int  # bytes
    type: str  # media type
    width: int = 0  # pixels as stored in the file; 0 if not known
    height: int = 0
    operation: str | None = None  # step id; None for a picture of the job
    target: PictureTarget = PictureTarget()
    text: str = ""  # caption

    @property
    def facts(self) -> PictureFacts:
        """What the log says about the stored file."""
        return PictureFacts(self.name, self.sha256, self.size, self.type, self.width, self.height)


class PictureWithdrawn(Event, frozen=True, tag="picture-withdrawn"):
    """A wrong picture was withdrawn. Its file and its event are kept."""

    event: int  # ``seq`` of the picture
    reason: str
    operation: str | None = None
