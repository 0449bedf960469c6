"""The fact of a picture."""

from msgspec import Struct

from benchflow.session.pictures.picture_file import PictureFacts
from benchflow.session.state.picture_events import PictureTarget


class PictureFact(Struct, frozen=True):
    """A picture. ``in_force`` is false if it was withdrawn.

    ``operation`` is ``""`` for a picture of the job. It shows a value (with its ``reading``, or ``""``), a joint (with
    its ``fastener``, or 0), an ``event`` such as a note, or else the operation as a whole. ``width`` and ``height`` are
    pixels, 0 if they are not known.
    """

    seq: int
    at: str
    by: str
    operation: str
    name: str
    sha256: str
    size: int
    type: str
    width: int
    height: int
    value: str
    reading: str
    joint: str
    fastener: int
    event: int
    text: str
    in_force: bool

    @property
    def file(self) -> PictureFacts:
        """What the log says about the stored file."""
        return PictureFacts(self.name, self.sha256, self.size, self.type, self.width, self.height)

    @property
    def target(self) -> PictureTarget:
        """What it shows of its operation."""
        return PictureTarget(self.value, self.reading, self.joint, self.fastener, self.event)
