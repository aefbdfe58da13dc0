from .audit_figure import draw as draw
from .figures import check_path as check_path, forest as forest, save as save
from .plan_figure import check_paper as check_paper, save_plan as save_plan
from .plan_page import (
    CODE_LINE as CODE_LINE, LEADING as LEADING, PAPERS as PAPERS, TextLine as TextLine, tall as tall, wrapped as wrapped,
)
