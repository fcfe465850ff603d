"""The chart's colours, on paper and on a dark screen, and the dashes that tell its lines apart without them.

Rule: what is drawn stands out from its ground by 3:1 at least, what is read by 4.5:1 (WCAG 2.2, 1.4.11 and
1.4.3); a test computes it. No two lines of one panel have the same dashes.
"""

from collections.abc import Mapping

LIGHT: Mapping[str, str] = {
    "ground": "#fbfaf7",
    "panel": "#ffffff",
    "ink": "#1d262b",
    "quiet": "#55636b",
    "grid": "#dfe3e4",
    "inside": "#0a4d68",
    "outdoor": "#8f3d0e",
    "dew": "#5a4a9c",
    "humidity": "#1f6a4a",
    "heat": "#a8570a",
    "band": "#cfe3ea",
    "edge": "#4a7485",
    "gap": "#7a7f82",
    "alarm": "#a3122a",
    "doubt": "#7a4d00",
}
DARK: Mapping[str, str] = {
    "ground": "#13181b",
    "panel": "#191f23",
    "ink": "#e8edef",
    "quiet": "#a9b6bc",
    "grid": "#2c353a",
    "inside": "#86cdea",
    "outdoor": "#f0a878",
    "dew": "#bfb6f5",
    "humidity": "#85d3a8",
    "heat": "#efb25c",
    "band": "#1f3b47",
    "edge": "#7fa6b5",
    "gap": "#8b9498",
    "alarm": "#ff8d97",
    "doubt": "#e7c06a",
}
READ = ("ink", "quiet", "alarm", "doubt")
"""What letters are written in."""

DRAWN = ("inside", "outdoor", "dew", "humidity", "heat", "edge", "gap", "alarm", "doubt")
"""What lines and shapes are drawn in, on `panel` or `ground`."""

DASHES: Mapping[str, tuple[int, ...]] = {
    "inside": (),
    "outdoor": (8, 4),
    "dew": (2, 3),
    "edge": (12, 3, 2, 3),
    "humidity": (),
}
WIDTHS: Mapping[str, float] = {"inside": 2.0, "outdoor": 1.6, "dew": 1.6, "edge": 1.0, "humidity": 1.6}

TEMPERATURE_PANEL = ("inside", "outdoor", "dew", "edge")


def contrast(one: str, other: str) -> float:
    """The contrast ratio of two colours, as WCAG 2.2 defines it."""
    bright, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    red, green, blue = (_linear(int(colour[at : at + 2], 16) / 255) for at in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(value: float) -> float:
    # Relative luminance as WCAG 2.2 defines it; the older limit, 0.03928, is the same for 8-bit colours.
    return float(value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4)


def css(colours: Mapping[str, str]) -> str:
    """As custom properties."""
    return "".join(f"--{name}:{value};" for name, value in colours.items())
