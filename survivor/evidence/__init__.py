"""Findings: every answer with its size, uncertainty, cost and grade, in plain words."""
