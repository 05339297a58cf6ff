"""Plans: what a session prescribes, and what was done of it. Pure computation."""

from motioncheck.plans.loader import LoadedPlan, load_plan, parse_plan
from motioncheck.plans.schema import PLAN_SCHEMA, Plan
from motioncheck.plans.session import SessionFacts, build_session
from motioncheck.plans.slots import compute_timed_s, compute_totals, list_slots, plan_movements

__all__ = [
    "PLAN_SCHEMA",
    "LoadedPlan",
    "Plan",
    "SessionFacts",
    "build_session",
    "compute_timed_s",
    "compute_totals",
    "list_slots",
    "load_plan",
    "parse_plan",
    "plan_movements",
]
