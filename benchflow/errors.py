"""Old place of :mod:`benchflow.base.errors`."""

from benchflow.base.errors import BenchflowError
from benchflow.base.errors import InternalError as Mistake

__all__ = ["BenchflowError", "Mistake"]
