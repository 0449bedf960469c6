"""The procedure as the author wrote it, as frozen types. Nothing is expanded yet.

Every type is a ``msgspec.Struct``: cheap to define, which keeps the start of the bench fast, and written to the
compiled cache without further code. A ``mark`` is the line and column in the author's file.

All texts are clean: the reader has removed control characters and bidirectional overrides.
"""

from benchflow.procedure.model.model_basics import Caution, Mark, Ref, Settings, Signal, Values
from benchflow.procedure.model.operation_model import (
    CheckPoint,
    FollowUp,
    Hold,
    Operation,
    Section,
    TimeSince,
    Undo,
    parts_of,
    values_of,
)
from benchflow.procedure.model.procedure_model import Procedure
from benchflow.procedure.model.setup_model import (
    Failure,
    GripSegment,
    InstrumentNeed,
    Joint,
    KitItem,
    Move,
    Option,
    Rule,
    Variable,
)
from benchflow.procedure.model.tighten_stages import (
    NO_TOLERANCE,
    AngleStage,
    CheckStage,
    HandStage,
    LoosenStage,
    Stage,
    TickTolerance,
    Tighten,
    TorqueStage,
)
from benchflow.procedure.model.value_model import (
    AboveReading,
    Bound,
    CalculatedValue,
    ChoiceRow,
    DecisionRule,
    EqualWithin,
    Fixed,
    Judge,
    PartChoice,
    PartMatching,
    RecordedValue,
    Remedy,
    StockSizes,
)

__all__ = [
    "NO_TOLERANCE",
    "AboveReading",
    "AngleStage",
    "Bound",
    "CalculatedValue",
    "Caution",
    "CheckPoint",
    "CheckStage",
    "ChoiceRow",
    "DecisionRule",
    "EqualWithin",
    "Failure",
    "Fixed",
    "FollowUp",
    "GripSegment",
    "HandStage",
    "Hold",
    "InstrumentNeed",
    "Joint",
    "Judge",
    "KitItem",
    "LoosenStage",
    "Mark",
    "Move",
    "Operation",
    "Option",
    "PartChoice",
    "PartMatching",
    "Procedure",
    "RecordedValue",
    "Ref",
    "Remedy",
    "Rule",
    "Section",
    "Settings",
    "Signal",
    "Stage",
    "StockSizes",
    "TickTolerance",
    "Tighten",
    "TimeSince",
    "TorqueStage",
    "Undo",
    "Values",
    "Variable",
    "parts_of",
    "values_of",
]
