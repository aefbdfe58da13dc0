from .minutes import OnSite as OnSite, on_site as on_site
from .needs import Limit as Limit
from .stock import Load as Load, PartValue as PartValue, Stock as Stock
from .telephone import LoadQuestion as LoadQuestion, load_questions as load_questions
from .van_shelf import Planner as Planner, Shelf as Shelf
