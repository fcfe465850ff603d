"""Writing what the owner asked for with -o."""

import stat
from pathlib import Path

from overwinter.cli.options import Stop
from overwinter.store.atomic import replace_durably


def write_whole(path: Path, data: bytes) -> None:
    """All of the new file or the old one; nothing but a regular file is written over.

    Raises
    ------
    Stop
        There is something else of that name.
    OSError
        It cannot be written.
    """
    try:
        if not stat.S_ISREG(path.lstat().st_mode):
            raise Stop(1, f"-o {path} is there and no regular file; it is left alone")
    except FileNotFoundError:
        pass
    replace_durably(path, data)
