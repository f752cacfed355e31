"""Measures how a bovine walks, from one phone clip of one walk-by."""
