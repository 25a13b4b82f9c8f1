"""Widgets of our own: drawn line by line, with the caret on whatever has the focus."""
