# SPDX-License-Identifier: MIT
"""Cuts, flips and other harm to what a board keeps, on either interpreter.

    micropython keeping.py FOLDER       prints how many checks ran and what went wrong

The files are those of FOLDER, as a board has them. Every check returns what went wrong as text,
None where all is well.
"""

from boards.files import FolderFiles  # pyright: ignore[reportMissingImports]

from sagline_board.keep import SLOTS, Keep, MemoryFiles
from sagline_board.wire import crc32

FIRST = b"the first calibration" * 9
SECOND = b"another one, of other bytes and longer" * 7


class PowerCut(BaseException):
    """The supply goes: nothing that the firmware would do after an error is done."""


class CutFiles:
    """Passes everything on to `files`; writes `cut` bytes more, and then the supply goes."""

    def __init__(self, files, cut):
        self._files = files
        self.size, self.read = files.size, files.read
        self.left = cut

    def write(self, name, pieces):
        whole = b"".join([bytes(piece) for piece in pieces])
        self._files.write(name, (whole[: self.left],))
        if self.left < len(whole):
            raise PowerCut()
        self.left -= len(whole)

    def remove(self, name):
        if self.left == 0:
            raise PowerCut()
        self.left -= 1
        self._files.remove(name)


def store(files, document, name):
    """Keep `document`, all at once. Raises what the files raise."""
    keep = Keep(files)
    keep.begin(len(document), name)
    keep.put(0, document)
    return keep.commit(crc32(document))


def found(files):
    """Return (name, document) as a board that starts now finds it, None for none."""
    keep = Keep(files)
    return (keep.name, keep.read(0, keep.length)) if keep.slot else None


def harm(files, file, change):
    """Replace what is in a slot by `change(content)`."""
    files.write(file, (change(files.read(file, 0, files.size(file))),))


def wipe(files):
    for file in SLOTS:
        if files.size(file) >= 0:
            files.remove(file)


def check_there_and_back(files):
    if found(files) is not None:
        return "something is kept at first"
    for number in range(5):
        document = bytes([number]) * (8192 if number == 3 else number + 1)
        if store(files, document, "n%d" % number) is not True:
            return "not kept"
        if found(files) != ("n%d" % number, document):
            return "found otherwise than it was kept, number %d" % number
        if Keep(files).slot != 1 + number % 2:
            return "not in turn"
    Keep(files).clear()
    if found(files) is not None or Keep(files).damaged:
        return "not cleared"


def check_cut_at_every_byte(files):
    """Cut the first write, one into the empty slot, and one over an older copy."""
    size = 16 + 5 + 4 + len(SECOND)
    for before in (0, 1, 2):
        wanted = ("first", FIRST) if before else None
        for cut in range(size):
            wipe(files)
            for _ in range(before):
                store(files, FIRST, "first")
            try:
                store(CutFiles(files, cut), SECOND, "other")
                return "the cut did not come"
            except PowerCut:
                pass
            if found(files) != wanted:
                return "cut at byte %d of write %d: another is found" % (cut, before + 1)
            if Keep(files).damaged != 1:
                return "cut at byte %d of write %d: no damage seen" % (cut, before + 1)
            if store(files, SECOND, "other") is not True or found(files) != ("other", SECOND):
                return "the next write fails"
        wipe(files)
        if store(CutFiles(files, size), SECOND, "other") is not True:
            return "a write that is not cut fails"


def check_cut_while_clearing(files):
    for cut in (0, 1):
        wipe(files)
        store(files, FIRST, "first")
        store(files, SECOND, "other")
        try:
            Keep(CutFiles(files, cut)).clear()
            return "the cut did not come"
        except PowerCut:
            pass
        if found(files) != ("other", SECOND):
            return "neither cleared nor kept"


def check_every_bit_flipped(files):
    for newest in (0, 1):
        wipe(files)
        store(files, FIRST, "first")
        if newest:
            store(files, SECOND, "other")
        file = SLOTS[newest]
        good = files.read(file, 0, files.size(file))
        wanted = ("first", FIRST) if newest else None
        for at in range(len(good)):
            for bit in range(8):
                files.write(file, (good[:at], bytes([good[at] ^ 1 << bit]), good[at + 1 :]))
                if found(files) != wanted or Keep(files).damaged != 1:
                    return "bit %d of byte %d" % (bit, at)


def check_shorter_and_longer(files):
    store(files, FIRST, "first")
    store(files, SECOND, "other")
    good = files.read(SLOTS[1], 0, files.size(SLOTS[1]))
    for bad in (b"", good[:-1], good + b"\0", good * 40, b"\xff" * 4096, bytes(4096)):
        files.write(SLOTS[1], (bad,))
        if found(files) != ("first", FIRST) or Keep(files).damaged != 1:
            return "%d bytes are taken" % len(bad)
    files.write(SLOTS[0], (b"",))
    if found(files) is not None or Keep(files).damaged != 2:
        return "two bad copies are taken"
    if store(files, SECOND, "other") is not True or found(files) != ("other", SECOND):
        return "two bad copies are not written over"


def check_not_whole(files):
    store(files, FIRST, "first")
    keep = Keep(files)
    if keep.commit(crc32(b"")) is not False:
        return "kept though nothing was begun"
    keep.begin(len(SECOND), "other")
    if keep.put(len(SECOND) - 3, b"four") or not keep.put(0, SECOND[:-1]):
        return "bytes beyond the end"
    if keep.commit(crc32(SECOND)) is not False:
        return "kept though a byte lacks"
    keep.drop()
    if keep.put(0, b"x") or found(files) != ("first", FIRST):
        return "a dropped draft"


# A bit at a time in memory: as files, ten thousand writes take too long.
CHECKS = (
    check_there_and_back, check_cut_at_every_byte, check_cut_while_clearing,
    check_shorter_and_longer, check_not_whole,
)  # fmt: skip
IN_MEMORY = CHECKS + (check_every_bit_flipped,)


def check_all(folder):
    """Return (how many checks ran, what went wrong)."""
    results = [check(MemoryFiles()) for check in IN_MEMORY]
    for check in CHECKS:
        files = FolderFiles(folder)
        wipe(files)
        results.append(check(files))
    return len(results), [result for result in results if result is not None]


if __name__ == "__main__":
    import sys

    count, wrong = check_all(sys.argv[1] + "/")
    for text in wrong:
        print(text)
    print("checks %d, wrong %d" % (count, len(wrong)))
