"""overwinter keeps an unoccupied pump house just above freezing, and says so."""

__version__ = "0.1.0"
