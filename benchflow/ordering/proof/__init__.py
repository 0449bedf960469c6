"""The proof of a procedure's order: over every order, every start and every choice of options."""

from benchflow.ordering.proof.explorer import Reductions
from benchflow.ordering.proof.proof_findings import OrderFinding, Proof, SuggestedLine
from benchflow.ordering.proof.prove import DEFAULT_BOUND, prove

__all__ = ["DEFAULT_BOUND", "OrderFinding", "Proof", "Reductions", "SuggestedLine", "prove"]
