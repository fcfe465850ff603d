"""One way to refuse a number: the formula's name for it, the value, and the range in which it holds.

A formula outside its range gives a number all the same, and a wrong one looks like a right one.
"""


def check(name: str, value: float, low: float, high: float, measure: str = "") -> None:
    """Refuse a value outside `low` to `high`, both allowed.

    Raises
    ------
    ValueError
        Out of range, or not a number: `humidity_pct = 130: must be 0 to 100 %`.
    """
    if not low <= value <= high:  # so that NaN is refused too
        raise ValueError(f"{name} = {value:g}: must be {low:g} to {high:g} {measure}".rstrip())


def check_above(name: str, value: float, low: float, high: float, measure: str = "") -> None:
    """Refuse a value that is not above `low` and at most `high`.

    Raises
    ------
    ValueError
        Out of range, or not a number.
    """
    if not low < value <= high:
        raise ValueError(f"{name} = {value:g}: must be above {low:g}, at most {high:g} {measure}".rstrip())
