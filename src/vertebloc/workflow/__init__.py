"""What does the team want done next: bring a case in, plan it, or check what it holds?"""

from vertebloc.workflow.check_case import CheckReport, check_case
from vertebloc.workflow.demo import DemoReport, make_demo
from vertebloc.workflow.import_case import ImportReport, ImportSettings, import_case
from vertebloc.workflow.pack_case import PackReport, pack_case
from vertebloc.workflow.plan_case import PlanReport, plan_case

__all__ = [
    "CheckReport",
    "DemoReport",
    "ImportReport",
    "ImportSettings",
    "PackReport",
    "PlanReport",
    "check_case",
    "import_case",
    "make_demo",
    "pack_case",
    "plan_case",
]
