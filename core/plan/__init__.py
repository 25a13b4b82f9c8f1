"""The recommendation: what each goal asks, every feasible configuration, its outcome for this person, and why."""

from .engine import option_for, plan, read_case
from .types import Option, Outcome, Plan

__all__ = ["Option", "Outcome", "Plan", "option_for", "plan", "read_case"]
