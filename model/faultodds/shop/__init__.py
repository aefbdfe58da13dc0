"""A shop's own prices, minutes and people, laid over an appliance."""

from faultodds.shop.choose import SHOP_VARIABLE, chosen_technician, default_path, find, priced, read
from faultodds.shop.laid_over import lay_over
from faultodds.shop.records import Shop, Van
from faultodds.shop.shop_file import ShopLine, lines, write_template
