"""How does the team get to see the plan, on paper, as data and on the screen?"""

from vertebloc.reports.paper import Paper, planning_pictures
from vertebloc.reports.plan_document import PlanOrigin, mark_stale, plan_document, plan_json
from vertebloc.reports.planning_sheet import planning_sheet
from vertebloc.reports.scene import HandError, Scene, published_hand_error
from vertebloc.reports.show import answer_lines, faces_table

__all__ = [
    "HandError",
    "Paper",
    "PlanOrigin",
    "Scene",
    "answer_lines",
    "faces_table",
    "mark_stale",
    "plan_document",
    "plan_json",
    "planning_pictures",
    "planning_sheet",
    "published_hand_error",
]
