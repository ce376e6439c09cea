"""What does the team want done next: bring a case in, plan it, or check what it holds?"""

from vertebloc.workflow.check_case import CheckReport, check_case
from vertebloc.workflow.demo import DemoReport, make_demo
from vertebloc.workflow.export_contours import ExportReport, OutlineFormat, export_contours
from vertebloc.workflow.import_case import ImportReport, ImportSettings, import_case
from vertebloc.workflow.list_series import SeriesReport, list_series
from vertebloc.workflow.pack_case import PackReport, pack_case
from vertebloc.workflow.plan_case import PlanReport, plan_case

__all__ = [
    "CheckReport",
    "DemoReport",
    "ExportReport",
    "ImportReport",
    "ImportSettings",
    "OutlineFormat",
    "PackReport",
    "PlanReport",
    "SeriesReport",
    "check_case",
    "export_contours",
    "import_case",
    "list_series",
    "make_demo",
    "pack_case",
    "plan_case",
]
