"""The base class of what goes wrong in a simulated build: it changes what the builder does at one place."""

from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any, ClassVar

from benchflow.procedure.model import RecordedValue
from benchflow.procedure.plan import Plan, Step
from tests.driving.session_driver import Intent

if TYPE_CHECKING:
    from tests.driving.working_builder import WorkingBuilder


class Fault:
    """A fault of one build. The methods change what the builder does; as they are here, they change nothing.

    ``operation`` is the step with the fault, "" for the whole job. ``size`` says how large it is, for people.
    ``right`` are the operations that a review may name for it. ``said`` matches the words that have to be said.
    """

    kind: ClassVar[str] = "clean"
    said: ClassVar[str] = ""
    pin: ClassVar[str] = ""  # of the inspector

    def __init__(self, operation: str, chance: Random) -> None:
        self.operation, self.chance = operation, chance
        self.size = ""
        self.right: set[str] = {operation}
        self.shown = False  # true when the fault is in the log
        self.choose_size()

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        """The operations in which the fault is possible; [""] for a fault of the whole job."""
        return [""]

    def choose_size(self) -> None:
        """Set the size of the fault at random."""

    def procedure_text(self, text: str) -> str:
        return text

    def shop(self, shop: dict[str, Any]) -> None:
        """Change the register of the build."""

    def shop_of_review(self, shop: dict[str, Any]) -> None:
        """Change the register of the review, after the build."""

    def tool(self, step: Step, need: str, entry: Intent) -> str:
        """The serial number of the instrument that is used for a need; "" for the usual one."""
        return ""

    def reading(self, builder: "WorkingBuilder", step: Step, record: RecordedValue, slot: str) -> str:
        """The reading; "" for the honest one."""
        return ""

    def before_wait(self, builder: "WorkingBuilder", step: Step) -> bool:
        """True if the builder does not wait for the time windows of a step."""
        return False

    def before_start(self, builder: "WorkingBuilder", step: Step) -> None: ...
    def after_start(self, builder: "WorkingBuilder", step: Step) -> None: ...
    def seconds_before(self, step: Step, entry: Intent) -> float | None:
        """The time before an entry; ``None`` for the honest one."""
        return None

    def sends(self, builder: "WorkingBuilder", step: Step, entry: Intent) -> bool:
        """Enter an entry in another way. True if it was done here."""
        return False

    def after_entry(self, builder: "WorkingBuilder", step: Step, entry: Intent) -> None: ...
    def before_finish(self, builder: "WorkingBuilder", step: Step) -> None: ...
    def signs(self, builder: "WorkingBuilder", step: Step) -> bool:
        return False

    def leaves(self, builder: "WorkingBuilder", step: Step) -> bool:
        """True if the operation is left as it is now, unfinished."""
        return False

    def after_finish(self, builder: "WorkingBuilder", step: Step) -> None: ...
    def moves(self, builder: "WorkingBuilder", move: str) -> bool:
        return False

    def before_close(self, builder: "WorkingBuilder") -> None: ...
    def after_close(self, log: Path) -> None: ...
