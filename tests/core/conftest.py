"""What the tests of this room are given."""

import pytest

from overwinter.core.judge import Track
from tests.core.rig import sensor


@pytest.fixture
def track() -> Track:
    return Track(sensor())
