"""Checks that the variants of an operation agree in what may not vary."""

from benchflow.procedure.model import Procedure
from benchflow.procedure.shapes.shape_base import ReadContext


class SameReadings:
    """Reports a calculated value that has several readings with one choice, and other readings with another one."""

    def __init__(self, context: ReadContext) -> None:
        self._context = context
        self._known: dict[str, tuple[str, ...]] = {}

    def compare(self, build: Procedure) -> None:
        """Compare the readings of each calculated value of a build with those of the builds before."""
        from benchflow.procedure.value_indexes import ValueTable  # late import: few files need it

        table = ValueTable(build.operations, build.places)
        for operation in build.operations:
            for work_out in operation.work_out:
                axes = table.axes(work_out.name)
                readings = () if axes is None else axes.readings
                if self._known.setdefault(work_out.name, readings) == readings:
                    continue
                counts = " and ".join(str(len(one) or 1) for one in (self._known[work_out.name], readings))
                self._context.problem(
                    "which-reading",
                    work_out.mark,
                    f"The formula of `{work_out.name}` gives {counts} results, depending on the choice of `by`",
                    "Write formulas with the same readings, such as mean(...) in both",
                )
