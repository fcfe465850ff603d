"""A disk that writes down what happens to it: every write and every flush, in order, and marks in between.

It speaks the kernel's FUSE protocol by itself (linux/fuse.h, version 7.31; numbers below are from there), so
that nothing has to be installed. Its folder has two files: `disk`, which backs a loop device, and `mark`,
whose writes become marks in the record.

Rule 1: one thread, direct I/O: the order of the record is the order in which the disk was asked.
Rule 2: a record is `HEAD` and its data; nothing here knows what the bytes mean.
"""

import ctypes
import errno
import os
import stat
import struct
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

WRITE, FLUSH, MARK = b"W", b"F", b"M"
HEAD = struct.Struct("<cdQI")  # what, when [monotonic s], offset, length

_ROOT, _DISK, _MARK = 1, 2, 3  # inodes
_NAMES = {b"disk": _DISK, b"mark": _MARK}

_IN = struct.Struct("<IIQQIIIHH")  # fuse_in_header: length, opcode, unique, node, uid, gid, pid, ...
_OUT = struct.Struct("<IiQ")  # fuse_out_header: length, -errno, unique
_ATTR = struct.Struct("<6Q10I")
_WRITE_IN = struct.Struct("<QQIIQII")
_WRITE_AT_MOST = 131_072
_BUFFER = _WRITE_AT_MOST + 4096
_BIG_WRITES, _DIRECT_IO = 1 << 5, 1
_FORGET, _INTERRUPT, _BATCH_FORGET = 2, 36, 42
_UNANSWERED = (_FORGET, _INTERRUPT, _BATCH_FORGET)
_MS_NOSUID, _MS_NODEV, _MNT_DETACH, _CLONE_NEWNS = 2, 4, 2, 0x20000


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One thing that happened to the disk."""

    what: bytes
    at_s: float
    offset: int
    data: bytes


def read_records(path: Path) -> Iterator[Record]:
    """What a recorder wrote down, in order; a half record at the end is none."""
    with path.open("rb") as file:
        while len(head := file.read(HEAD.size)) == HEAD.size:
            what, at_s, offset, length = HEAD.unpack(head)
            data = file.read(length)
            if len(data) < length:
                return
            yield Record(what=what, at_s=at_s, offset=offset, data=data)


class Recorder:
    """Answers the kernel until the folder is unmounted."""

    def __init__(self, device: int, size: int, record: Path) -> None:
        self._device = device
        self._disk = bytearray(size)
        self._record = record.open("wb", buffering=0)
        self._answers: dict[int, Callable[[int, bytes], bytes]] = {
            1: self._lookup,
            3: self._attributes,
            4: self._attributes,  # SETATTR: size and mode never change
            14: lambda _node, _body: struct.pack("<QII", 0, _DIRECT_IO, 0),  # OPEN
            15: self._read,
            16: self._write,
            17: lambda _node, _body: struct.pack("<5Q10I", 0, 0, 0, 0, 0, 4096, 255, *[0] * 8),  # STATFS
            18: lambda _node, _body: b"",  # RELEASE
            20: self._sync,
            25: lambda _node, _body: b"",  # FLUSH is a close, not a flush of the disk
            26: self._begin,
        }

    def serve(self) -> None:
        """Until nobody has the folder mounted any more."""
        while True:
            try:
                request = os.read(self._device, _BUFFER)
            except InterruptedError:
                continue
            except OSError as error:
                if error.errno == errno.ENODEV:
                    return
                if error.errno == errno.ENOENT:  # the asker gave up before we read it
                    continue
                raise
            _, code, unique, node, *_ = _IN.unpack_from(request)
            if code in _UNANSWERED:
                continue
            problem, answer = 0, b""
            act = self._answers.get(code)
            try:
                if act is None:
                    raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))
                answer = act(node, request[_IN.size :])
            except OSError as error:
                problem = -(error.errno or errno.EIO)
            os.write(self._device, _OUT.pack(_OUT.size + len(answer), problem, unique) + answer)

    def _write_down(self, what: bytes, offset: int = 0, data: bytes = b"") -> None:
        self._record.write(HEAD.pack(what, time.monotonic(), offset, len(data)) + data)

    def _begin(self, _node: int, _body: bytes) -> bytes:
        limits = struct.pack("<HHIIHHI7I", 0, 0, _WRITE_AT_MOST, 1, 0, 0, 0, *[0] * 7)
        return struct.pack("<IIII", 7, 31, 0, _BIG_WRITES) + limits

    def _attr(self, node: int) -> bytes:
        kind = stat.S_IFDIR | 0o700 if node == _ROOT else stat.S_IFREG | 0o600
        size = len(self._disk) if node == _DISK else 0
        return _ATTR.pack(node, size, size // 512, 0, 0, 0, 0, 0, 0, kind, 1, 0, 0, 0, 4096, 0)

    def _lookup(self, _node: int, body: bytes) -> bytes:
        node = _NAMES.get(body.rstrip(b"\0"))
        if node is None:
            raise OSError(errno.ENOENT, os.strerror(errno.ENOENT))
        return struct.pack("<4QII", node, 0, 1, 1, 0, 0) + self._attr(node)

    def _attributes(self, node: int, _body: bytes) -> bytes:
        return struct.pack("<QII", 1, 0, 0) + self._attr(node)

    def _read(self, node: int, body: bytes) -> bytes:
        _, offset, length = struct.unpack_from("<QQI", body)
        return bytes(self._disk[offset : offset + length]) if node == _DISK else b""

    def _write(self, node: int, body: bytes) -> bytes:
        _, offset, length, *_ = _WRITE_IN.unpack_from(body)
        data = body[_WRITE_IN.size : _WRITE_IN.size + length]
        if node == _MARK:
            self._write_down(MARK, data=data)
        elif offset + length > len(self._disk):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        else:
            self._disk[offset : offset + length] = data
            self._write_down(WRITE, offset, data)
        return struct.pack("<II", length, 0)

    def _sync(self, node: int, _body: bytes) -> bytes:
        if node == _DISK:
            self._write_down(FLUSH)
        return b""


def mount(folder: Path) -> int:
    """Mount a FUSE file system there; the descriptor to answer it by."""
    device = os.open("/dev/fuse", os.O_RDWR | os.O_CLOEXEC)
    options = f"fd={device},rootmode=40000,user_id=0,group_id=0".encode()
    _call("mount", b"recorder", os.fsencode(folder), b"fuse", _MS_NOSUID | _MS_NODEV, options)
    return device


def step_out(folder: Path) -> None:
    """Leave the namespace of the mounts that lie on this disk.

    Whoever is the last to leave a namespace unmounts what is mounted there. Were that the recorder, killed,
    then it would write to itself, and hang for ever in the kernel.
    """
    _call("unshare", _CLONE_NEWNS)
    _call("umount2", os.fsencode(folder), _MNT_DETACH)  # here only: others have it until they unmount it


def _call(name: str, *words: object) -> None:
    if getattr(ctypes.CDLL(None, use_errno=True), name)(*words):
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number), name)


def main() -> None:
    """`recorder FOLDER BYTES RECORD`: serve until the folder is unmounted."""
    folder, size, record = sys.argv[1:]
    device = mount(Path(folder))
    step_out(Path(folder))
    Recorder(device, int(size), Path(record)).serve()


if __name__ == "__main__":
    main()
