from .choose import (
    chosen_technician as chosen_technician, priced as priced, read as read,
)
from .laid_over import lay_over as lay_over
from .records import Shop as Shop, Van as Van
from .shop_file import ShopLine as ShopLine, lines as lines, write_template as write_template
