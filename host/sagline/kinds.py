# SPDX-License-Identifier: MIT
"""Which document each kind of record is: the one place where the log looks it up.

A further kind is a line here and one in `computing.py`.
"""

from sagline.anyrecord import AnyRecord
from sagline.filerecord import FileRecord
from sagline.handrecord import HandRecord
from sagline.records import Record

DOCUMENTS: dict[str, type[AnyRecord]] = {
    "rig": Record,
    "virtual": Record,
    "hand": HandRecord,
    "file": FileRecord,
}
