"""The proof of a procedure's order: over every order, every start and every choice of options.

======================  ======================================================================
``prove``               runs the proof within a bound and turns the results into findings
``plan_analysis``       the analysis of one plan: steps never done, dead ends, breaches
``variable_group``      one group of variables with its steps, moves and rules
``group_explorer``      explores the groups and counts configurations against the bound
``over_approximation``  proves a group without exploring it
``state_space``         the reachable configurations of one group
``set_families``        two ways to store families of sets of done steps
``group_independence``  which groups have to be explored together
``partial_order``       the order of a plan's steps, and its cycles
``dead_ends``           configurations from which the build cannot be finished
``breaches``            orders that break a rule on paper
``witness``             a shortest order that shows a dead end or a breach
``window_feasibility``  decides if some order keeps the time windows
``paper_fixes``         the fewest lines that make a procedure safe on paper
``precedence``          decides if one operation is before another in every order
``value_findings``      values that are not there where they are needed
``remedy_findings``     remedies that cannot be carried out, settings never restored
``static_checks``       checks that need no exploration
``proof_findings``      the findings as data
``finding_messages``    the messages of the findings
======================  ======================================================================
"""

from benchflow.ordering.proof.group_explorer import Reductions
from benchflow.ordering.proof.proof_findings import OrderFinding, Proof, SuggestedLine
from benchflow.ordering.proof.prove import DEFAULT_BOUND, prove

__all__ = ["DEFAULT_BOUND", "OrderFinding", "Proof", "Reductions", "SuggestedLine", "prove"]
