"""Before the visit: which parts to carry, and the chance of finishing in one visit."""

from faultodds.stock.minutes import OnSite, on_site
from faultodds.stock.needs import Limit
from faultodds.stock.shelf import Planner, Shelf
from faultodds.stock.stock import Load, PartValue, Stock
