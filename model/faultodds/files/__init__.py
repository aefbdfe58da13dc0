"""Where files are, and how one is put in place whole."""

from faultodds.files.folders import DATA_VARIABLE, cache_folder, data_folder
from faultodds.files.knowledge_files import find, fingerprint, read_bytes, shipped
from faultodds.files.whole import written_whole
