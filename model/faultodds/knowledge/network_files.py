"""Network files: BIF and XMLBIF through pgmpy's writers.

pgmpy's writers are right for identifier-like names: they put out the shortest text that reads back as the
same double (17 significant digits at most), so no number changes. What they leave to the caller is done here:
which appliance the file is about goes in a comment at the top, words and units go in one `label` property a
node (a second one would be lost in XMLBIF), without the characters that break a reader, and the file is
written as UTF-8 whatever the locale, whole or not at all.
"""

from __future__ import annotations

import re
import warnings
from pathlib import Path
from typing import Any

from faultodds.files import cannot_write, written_whole

# Readers split properties at "=", end them at ";", nest at braces, drop quotes, and take "//" and "/*" for comments.
_BREAKS_READERS = re.compile(r"[=;{}\"<>&|*\\\x00-\x1f]+")


def write_bif(network: Any, path: Path) -> None:
    """Write a `pgmpy` network as BIF; FaultoddsError when the path cannot be written."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        from pgmpy.readwrite import BIFWriter

        text = str(BIFWriter(network))
    _write(path, f"// {_heading(network)}\n{text}")


def write_xmlbif(network: Any, path: Path) -> None:
    """Write a `pgmpy` network as XMLBIF; FaultoddsError when the path cannot be written."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        from pgmpy.readwrite import XMLBIFWriter

        text = str(XMLBIFWriter(network))
    declaration, _, body = text.partition("?>")
    _write(path, f"{declaration}?>\n<!-- {_heading(network)} -->{body}")


def plain_words(text: str) -> str:
    """Text that every reader of both formats takes as it stands: no quotes, braces, "=", ";" or comment signs."""
    spaced = _BREAKS_READERS.sub(" ", text).replace("//", "/").replace("--", "-")
    return " ".join(spaced.split())


def _heading(network: Any) -> str:
    """`faultodds network: gas_dryer, revision file`; what is not known is left out."""
    about = network.graph
    parts = [str(network.name or "unnamed")]
    parts += [f"{key} {about[key]}" for key in ("revision", "content") if about.get(key)]
    return plain_words("faultodds network: " + ", ".join(parts))


def _write(path: Path, text: str) -> None:
    try:
        with written_whole(path, shared=True) as beside:
            beside.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise cannot_write(path, "--out", error) from None
