"""One attribute file of a kernel driver as text or number: bounded, strict, and with the reason in words."""

import math
import re
from pathlib import Path

ATTRIBUTE_BYTES_MAX = 4096
"""The kernel gives an attribute one page; a longer file is something else and is not read to its end."""

SHOWN_CHARACTERS_MAX = 40
"""As much of a wrong text as a person needs to recognise it; the rest would fill the logbook."""

# Not float(): it also takes nan, infinities, 1_000, 1e5 and the digits of other scripts.
_DECIMAL = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?\Z")


def below(root: Path, path: Path) -> Path:
    """`path` as seen from `root`: the true one on a board, a folder of fake kernel files elsewhere."""
    return root / path.relative_to(path.anchor)


def attribute(path: Path) -> str:
    """The file's text without the white space around it.

    Raises
    ------
    OSError
        As the kernel says: missing, EIO for a broken frame, ETIMEDOUT for silence.
    ValueError
        Bytes that are no ASCII text.
    """
    with path.open("rb", buffering=0) as file:
        raw = file.read(ATTRIBUTE_BYTES_MAX)
    try:
        return raw.decode("ascii").strip()
    except UnicodeDecodeError:
        raise ValueError(f"{_shown(repr(raw))} is no text") from None


def decimal(text: str) -> float:
    """A plain decimal number.

    Raises
    ------
    ValueError
        Empty, anything but digits with sign and point, or beyond any float.
    """
    if not text:
        raise ValueError("empty")
    value = float(text) if _DECIMAL.match(text) else math.nan
    if not math.isfinite(value):
        raise ValueError(f"{_shown(repr(text))} is no number")
    return value


def complaint(path: Path, error: OSError | ValueError) -> str:
    """What went wrong with which file, in words."""
    reason = error.strerror if isinstance(error, OSError) else None
    return f"{path}: {reason or error}"


def _shown(text: str) -> str:
    return text if len(text) <= SHOWN_CHARACTERS_MAX else f"{text[:SHOWN_CHARACTERS_MAX]}…"
