from .folders import (
    DATA_VARIABLE as DATA_VARIABLE, bytes_of as bytes_of, cache_entry as cache_entry, data_folder as data_folder,
    opened_entry as opened_entry,
)
from .kept import Kept as Kept, kept_in as kept_in, remove as remove
from .knowledge_files import (
    ADDED_FOLDER as ADDED_FOLDER, USUAL as USUAL,
    added as added, again as again, find as find, fingerprint as fingerprint, id_in as id_in,
    named as named, of_content as of_content, read_bytes as read_bytes, shipped as shipped, usual as usual,
    words_file as words_file,
)
from .private import is_kept as is_kept, made_folder as made_folder, own_folder as own_folder
from .shop_file import (
    NO_SHOP as NO_SHOP, SHOP_VARIABLE as SHOP_VARIABLE, default_path as default_path, find_shop as find_shop,
)
from .toml_text import toml_tables as toml_tables
from .wanted import cannot_write as cannot_write, refuse_taken as refuse_taken
from .whole import (
    forget_left as forget_left, held_folder as held_folder, line_added as line_added, synced as synced,
    written_whole as written_whole,
)
