from .blocks import Block as Block, Page as Page
from .customer import customer_page as customer_page
from .html import as_html as as_html
from .month import Held as Held, Month as Month, month_named as month_named, month_of as month_of, month_page as month_page
from .month_log import LogMonth as LogMonth, log_months as log_months
from .pdf import save_pdf as save_pdf
from .save import refuse_page as refuse_page, save as save
from .shop_page import shop_page as shop_page
