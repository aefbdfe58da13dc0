"""Knowledge files on disk: the shipped ones by name, others by path; found and read, not yet understood.

A stop sign must be found even in a file that cannot be used, so nothing heavier than the standard library is needed here.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from faultodds.errors import KnowledgeError, nearest

KNOWLEDGE_SUFFIX = ".toml"
SHIPPED_FOLDER = Path(__file__).parent.parent / "appliances"


def shipped() -> list[str]:
    """Names of the appliances that come with the package, sorted."""
    return sorted(f.stem for f in SHIPPED_FOLDER.iterdir() if f.suffix == KNOWLEDGE_SUFFIX)


def find(name: str) -> Path:
    """Path of a knowledge file: a shipped appliance by name, or a path.

    Raises KnowledgeError naming the shipped appliances when there is none.
    """
    if name in shipped():
        return SHIPPED_FOLDER / (name + KNOWLEDGE_SUFFIX)
    path = Path(name).expanduser()
    if path.is_file():
        return path
    if path.suffix == KNOWLEDGE_SUFFIX or path.name != name:
        raise KnowledgeError(f"there is no knowledge file at '{name}'. Shipped appliances: {', '.join(shipped())}.")
    close = nearest(name, shipped())
    guess = f" Did you mean '{close}'?" if close else ""
    raise KnowledgeError(
        f"there is no appliance called '{name}'.{guess} Shipped: {', '.join(shipped())}. "
        "Type 'faultodds appliance list', or give the path of a knowledge file."
    )


def words_file(appliance: str) -> Path | None:
    """The file of what an appliance's parts and states are called, by its id; None when there is none."""
    path = SHIPPED_FOLDER / "words" / (appliance + KNOWLEDGE_SUFFIX)
    return path if path.is_file() else None


def read_bytes(path: Path) -> bytes:
    """The file's bytes; KnowledgeError when it cannot be read."""
    try:
        return path.read_bytes()
    except OSError as error:
        raise KnowledgeError(f"{path}: cannot be read ({error.strerror or error}).") from None


def fingerprint(data: bytes) -> str:
    """Hash that names this exact content in caches, jobs and revisions."""
    return hashlib.sha256(data).hexdigest()[:16]
