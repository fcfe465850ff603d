"""Sensors, relay and contacts as they are wired: one file a kind.

Rule 1: `read` never raises. A failed read is a Reading without temperature, and its `error` names the thing.
Rule 2: nothing here filters, decides, or retries for longer than a turn: what to believe is judged elsewhere.
Rule 3: a reading bears the time its read began, so that a late answer never looks fresh.
"""
