"""The recommendation: what each goal asks, every feasible configuration, its outcome for this person, and why.

What is asked after a plan stands in files of its own, imported when it is asked: :mod:`.workings` (why a number),
:mod:`.whatif`, :mod:`.sensitivity` (what would change the answer), :mod:`.data` (the plan for other programs).
"""

from .engine import option_for, plan, read_case
from .types import Option, Outcome, Plan

__all__ = ["Option", "Outcome", "Plan", "option_for", "plan", "read_case"]
