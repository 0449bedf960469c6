"""The file of an intent `attach`: it is read before the decision, and stored before the event is logged."""

from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import replace

from benchflow.session.context import Context, refuse
from benchflow.session.intents.intent_types import AttachPicture
from benchflow.session.refusal import Refusal

if TYPE_CHECKING:
    from benchflow.session.pictures.picture_file import PictureFile


def with_picture(intent: AttachPicture, context: Context) -> "tuple[AttachPicture, Context, PictureFile | None]":
    """The intent and the context for the decision, and the picture.

    The picture is ``None`` if it cannot be attached. The reason is then in the context.

    The intent gets the name of the file instead of its path, so that the log does not show a person's folders.
    """
    from benchflow.session.pictures.picture_file import PictureRefused, read_picture

    try:
        picture = read_picture(Path(intent.file))
    except PictureRefused as error:
        return intent, replace(context, picture=refuse("not-allowed", str(error), name="file")), None
    return replace(intent, file=picture.facts.name), replace(context, picture=picture.facts), picture


def store_picture(log: Path, picture: "PictureFile") -> Refusal | None:
    """Store the picture beside its log; a refusal if that fails. It is on the disk when this returns."""
    from benchflow.session.pictures.stored_pictures import PictureNotStored, store_picture

    try:
        store_picture(log, picture)
    except PictureNotStored as error:
        return refuse("not-saved", str(error), name="file")
    return None


def with_restored_copy(log: Path, picture: "PictureFile", refusal: Refusal) -> Refusal:
    """The refusal of a picture that is attached already. If its stored copy was lost or changed, it is stored again."""
    from benchflow.session.pictures.stored_pictures import stored_picture_problem

    if any(reason.code != "already-done" for reason in refusal.refused):
        return refusal
    problem = stored_picture_problem(log, picture.facts)
    if problem is None or store_picture(log, picture) is not None:
        return refusal
    restored = f"Its stored copy was {problem.what}. It is restored from this file."
    reasons = (replace(reason, message=f"{reason.message} {restored}") for reason in refusal.refused)
    return replace(refusal, refused=tuple(reasons))
