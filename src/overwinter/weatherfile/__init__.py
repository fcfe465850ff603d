"""Hourly weather files as typed columns: EPW, TMY3 and plain CSV, from text to numbers or to problems."""
