"""Where a user's own files are: one data folder for jobs, logs and revisions."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

DATA_VARIABLE: Final = "FAULTODDS_DATA"


def data_folder() -> Path:
    """The folder in the environment variable FAULTODDS_DATA, or the user's data folder."""
    chosen = os.environ.get(DATA_VARIABLE, "").strip()
    if chosen:
        return Path(chosen).expanduser()
    from platformdirs import user_data_dir

    return Path(user_data_dir("faultodds", appauthor=False)).expanduser()
