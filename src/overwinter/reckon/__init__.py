"""Figures out of laws and facts: what a house, its winter and its settings come to.

Rule 1: rows, files and clocks belong to others; what is needed comes as an argument.
Rule 2: numbers leave here, in SI; which words and units a person sees is decided where they are shown.
Rule 3: what is not known stays None and is named, never guessed.
"""
