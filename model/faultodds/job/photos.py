"""Photographs kept with a job: made small, and without what a camera writes into them of place, time and owner."""

from __future__ import annotations

from pathlib import Path

from faultodds.errors import FaultoddsError
from faultodds.files import own_folder, written_whole
from faultodds.job.open_job import OpenJob

# The longer side in pixels, and the quality of the JPEG: a rating plate stays readable in about 150 kB.
LONGEST, QUALITY = 1280, 80


def photo_path(store: Path, name: str) -> Path:
    """Where a photograph of a job in this store is."""
    return store.parent / "photos" / Path(name).name


def keep_photo(visit: OpenJob, source: Path) -> Path:
    """Keep a photograph with a job; raises FaultoddsError for a file that is none or cannot be kept."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    number = 1 + len(visit.job.kept("photo"))
    target = photo_path(visit.store.path, f"job-{visit.job.id}-{visit.job.last_seq + 1}-{number}.jpg")
    try:
        with Image.open(source) as picture:
            small = ImageOps.exif_transpose(picture).convert("RGB")
        small.thumbnail((LONGEST, LONGEST))
        own_folder(target.parent)
        with written_whole(target) as beside:
            small.save(beside, "JPEG", quality=QUALITY, exif=b"")
    except (UnidentifiedImageError, Image.DecompressionBombError):
        raise FaultoddsError(f"'{source}' is no photograph that can be read. Give a JPEG or PNG file.") from None
    except OSError as error:
        raise FaultoddsError(f"'{source}' cannot be kept ({error.strerror or error}). Nothing was entered.") from None
    visit.keep("photo", target.name)
    return target
