"""A change that is planned or refused, and a file that its owner wrote."""

import json
from collections.abc import Mapping

import pytest

from overwinter.core.nouns import Refused, Settings
from overwinter.settings.change import Change, plan_change
from overwinter.settings.values import default_text

OWN = """\
# my own order, my own spelling
unit = 'F'   # as the dial says

  [limits]   # fire first
  ceiling = 7_5
  # and frost
  alarm_low = +34.50

[band]
high = 4.0e1 # set at the first frost
low = 36     #  by the neighbour
"""


def plan(
    changes: Mapping[str, object],
    text: str | bytes | None = None,
    *,
    running: Settings | None = None,
    anyway: bool = False,
    sense_s_min: float = 1.0,
) -> Change:
    return plan_change(
        default_text() if text is None else text,
        changes,
        running=running or Settings(),
        anyway=anyway,
        sense_s_min=sense_s_min,
    )


def refusals(
    changes: Mapping[str, object],
    text: str | bytes | None = None,
    *,
    anyway: bool = False,
    sense_s_min: float = 1.0,
) -> list[str]:
    with pytest.raises(Refused) as refused:
        plan(changes, text, anyway=anyway, sense_s_min=sense_s_min)
    json.dumps([problem.value for problem in refused.value.problems], allow_nan=False)
    return [problem.text for problem in refused.value.problems]
