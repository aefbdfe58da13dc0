from .decisions import (
    FILE as FILE, accepted as accepted, doubt as doubt, history as history, revision_ids as revision_ids,
    revision_path as revision_path, rollback as rollback,
)
from .revision import (
    LogSource as LogSource, Number as Number, Plain as Plain, Revision as Revision, from_bytes as from_bytes,
    lay_over as lay_over, overruled as overruled, read_bytes as read_bytes,
)
from .beside import Told as Told, Verdict as Verdict, remarks as remarks
from .shelf import (
    Difference as Difference, accept as accept, differences as differences, drop as drop, find_id as find_id, get as get,
    judge as judge, newest as newest, propose as propose, rename as rename, shelved as shelved,
)
