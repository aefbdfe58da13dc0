"""Where files are: a user's own in one data folder (jobs, logs, revisions), what can be made again in a cache folder."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

DATA_VARIABLE: Final = "FAULTODDS_DATA"
CACHE_VARIABLE: Final = "FAULTODDS_CACHE"


def data_folder() -> Path:
    """The folder in the environment variable FAULTODDS_DATA, or the user's data folder."""
    chosen = os.environ.get(DATA_VARIABLE, "").strip()
    if chosen:
        return Path(chosen).expanduser()
    from platformdirs import user_data_dir

    return Path(user_data_dir("faultodds", appauthor=False)).expanduser()


def cache_folder() -> Path:
    """Where compiled appliances are kept: the environment variable FAULTODDS_CACHE, or the user's cache folder."""
    chosen = os.environ.get(CACHE_VARIABLE)
    if chosen:
        return Path(chosen).expanduser()
    from platformdirs import user_cache_dir

    return Path(user_cache_dir("faultodds", appauthor=False))
