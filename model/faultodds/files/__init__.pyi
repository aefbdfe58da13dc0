from .folders import DATA_VARIABLE as DATA_VARIABLE, cache_folder as cache_folder, data_folder as data_folder
from .kept import Kept as Kept, kept_in as kept_in, remove as remove
from .knowledge_files import (
    find as find, fingerprint as fingerprint, read_bytes as read_bytes, shipped as shipped,
    words_file as words_file,
)
from .private import own_folder as own_folder
from .whole import written_whole as written_whole
