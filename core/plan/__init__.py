"""The recommendation: what each goal asks, every feasible configuration, its outcome for this person, and why."""

from .data import plan_data
from .engine import option_for, plan, read_case
from .sensitivity import measure_next, sensitivity
from .types import Option, Outcome, Plan
from .whatif import what_if
from .workings import explain

__all__ = [
    "Option",
    "Outcome",
    "Plan",
    "explain",
    "measure_next",
    "option_for",
    "plan",
    "plan_data",
    "read_case",
    "sensitivity",
    "what_if",
]
