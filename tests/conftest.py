"""What holds for every test: time is judged in tests/bench, not by how busy the machine was."""

from hypothesis import settings

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
