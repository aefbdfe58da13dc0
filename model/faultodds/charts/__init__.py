"""Figures, with matplotlib; imported only where one is drawn."""

from faultodds.charts.audit_figure import draw
from faultodds.charts.figures import check_path, forest
from faultodds.charts.plan_figure import check_target, save_plan
