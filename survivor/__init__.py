"""Establishment survival analysis: field records to evidence."""
