"""Checks: each a small function that finds one kind of problem and says its mend."""
