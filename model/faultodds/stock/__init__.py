"""Before the visit: which parts to carry, and the chance of finishing in one visit."""

from faultodds.stock.minutes import OnSite, on_site
from faultodds.stock.needs import Limit, Load, PartValue, Stock
from faultodds.stock.shelf import Planner, Shelf
