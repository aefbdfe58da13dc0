from .audit_figure import draw as draw, draw_person as draw_person
from .course_figure import draw_course as draw_course
from .network_figure import draw_network as draw_network
from .plan_figure import check_paper as check_paper, save_plan as save_plan
from .plan_page import CODE_LINE as CODE_LINE, PAPERS as PAPERS
from .policies_figure import PolicyBar as PolicyBar, draw_policies as draw_policies
from .priors_figure import forest as forest
from .style import check_path as check_path
from .tornado_figure import draw_tornado as draw_tornado
from .typeset import (
    LEADING as LEADING, TextLine as TextLine, tall as tall, text_width as text_width, tied as tied, wrapped as wrapped,
)
