"""Learned numbers as dated files, and which of them stands."""

from faultodds.revisions.decisions import FILE, accepted, history, revision_ids, revision_path, rollback
from faultodds.revisions.revision import LogSource, Number, Plain, Revision, from_bytes, lay_over, overruled, read_bytes
from faultodds.revisions.shelf import Difference, accept, differences, find_id, get, newest, propose, shelved
