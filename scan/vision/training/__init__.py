"""Placeholder docstring, rewritten by the room."""
