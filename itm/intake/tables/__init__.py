"""Reads tables out of files. No Django and no database: what a cell means is judged above.

A cell is what the file holds: text, a number, nothing (an empty text), or a day as a tuple.
"""
