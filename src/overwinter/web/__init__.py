"""The page for a browser: a process of its own, that asks the guard like any client."""
