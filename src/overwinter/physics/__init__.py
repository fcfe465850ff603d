"""Laws of the trade as pure functions in SI; each names its source, its range and how good it is."""
